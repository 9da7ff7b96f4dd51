"""The desk: a case being worked on, without any web code. What a page needs to know, by file.

* ``draft``: ``Draft``, ``opened``, ``started``; changes ``with_value``, ``without_value``, ``with_landmark``,
  ``without_landmark``, ``with_scan``, ``without_scan``, ``undone``, ``redone``; ``problems``, ``case_of``,
  ``changed_on_disk``, ``saved``. A drag passes ``same_step=True`` after its first call, so that one undo takes it back.
* ``shelf``: ``Shelf``, one a page: what was read, estimated and fitted, by what it was made from.
* ``readings``: ``readings(draft, shelf)``: the scans of an incomplete draft, and the line that refuses each other one.
* ``landmarks``: ``LANDMARKS`` (name, label key, group, scans it lies on, needed), ``missing``, ``point_of``,
  ``lies_on``, ``snapped``, ``midsagittal``, ``mirrored``; ``plausible``: ``plausibility(draft, surfaces, name)``.
* ``bench``: ``workbench(draft, shelf=..., samples=0, clear=True)`` -> ``Workbench``, whose bow is the very one of the
  plan (``answer``) unless the case's bend is refused (``refusal``); ``aimed(bench, method)`` switches the target.
* ``handles``: ``Handles``, ``handles_of``, ``handled``, ``ranges``, ``kept_handles``.
* ``live``: ``rigid_live``, ``flexed_live(bench, handles, near=last)`` -> ``Live``.
* ``solving``: ``solved(bench)`` -> (``Handles``, ``Plan``) of the case; ``trued(bench, handles)``; ``offset_curve``.
* ``jobs``: ``begun(task, *args, seconds=, out=, on_change=)`` -> ``Job`` in a child process (``state``, ``lines``,
  ``error``, ``result()``, ``waited``, ``cancel``); ``tasks``: ``planned(case, folder)``,
  ``estimated(case, folder)`` (finite elements; give its result to ``bench.keep_reports``).
* ``uploads``: ``arrived(folder, name, data)`` -> ``Arrived``; ``folder``: ``inside(folder, name)``.

Signatures are kept stable.
"""
