"""A case being worked on: its values, what was changed, and saving it so that no work is lost.

A draft may be incomplete; ``problems`` tells what is missing. Every change is a new draft. Coordinates are LPS mm.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w
from numpy.typing import ArrayLike

from casework.bow_needs import PLAN_LANDMARKS
from casework.case_file import (
    CaseModel,
    case_bytes,
    case_values,
    parsed_case,
    problems_in,
)
from casework.desk.folder import beside, hash_of, held, inside, leftovers_removed
from mesh_tools.errors import BadFileError, BadValueError, BowtrueError

CASE_FILE, ORIGINAL = "case.toml", "case.original.toml"
MOST_STEPS = 200
_HEAD = "# Written by bowtrue. Coordinates are LPS mm: +x the patient's left, +y back, +z up.\n"
_UNFINISHED = {"missing", "too_short", "value_error"}  # kinds of problem that more work mends
_LISTS = {"occlusal_plane_mm"}
_SCANS = ("right_molar", "left_molar", "right_bone", "left_bone", "arch", "bow", "face")

Values = dict[str, Any]
KeyPath = str | tuple[str | int, ...]


class EditError(BadValueError):
    """A change that no case may hold; the draft stays as it is."""


class ChangedOnDiskError(BadValueError):
    """The case file is no longer what the draft was made from; nothing was written."""


@dataclass(frozen=True)
class Draft:
    """A case being worked on.

    ``folder``: where it lies, links followed; ``name``: its file there. ``values``: the case file as plain
    values (never changed in place). ``past`` and ``future``: earlier values and undone ones, nearest last.
    ``stamp``: SHA-256 of the file as last read or written, None before the first save. ``saved_values``: what that
    file holds. ``notes``: lines to tell the person, of the last save.
    """

    folder: Path
    values: Values
    name: str = CASE_FILE
    past: tuple[Values, ...] = ()
    future: tuple[Values, ...] = ()
    stamp: str | None = None
    saved_values: Values | None = field(default=None, repr=False)
    notes: tuple[str, ...] = ()

    @property
    def file(self) -> Path:
        """The case file."""
        return self.folder / self.name

    @property
    def unsaved(self) -> bool:
        """Whether the file does not hold these values yet."""
        return self.saved_values != self.values

    def value(self, key_path: KeyPath) -> Any:
        """What stands at ``key_path`` ("bow.arm_length_mm"), or None."""
        here: Any = self.values
        for part in _parts(key_path):
            if isinstance(here, Mapping):
                here = here.get(str(part))
            elif isinstance(here, list) and isinstance(part, int) and -len(here) <= part < len(here):
                here = here[part]
            else:
                return None
        return here


def opened(path: str | os.PathLike[str]) -> Draft:
    """The draft of the case file at ``path``, complete or not.

    Raises MissingFileError, and BadFileError for a link or a file that is not TOML.
    """
    where = Path(path)
    if where.is_symlink():
        raise BadFileError(f"case file {where} is a link; open the file that it leads to.")
    data = case_bytes(where)
    values = case_values(data, where)
    return Draft(
        where.absolute().parent.resolve(), values, where.name, stamp=hash_of(data), saved_values=values
    )


def started(folder: str | os.PathLike[str], case_id: str) -> Draft:
    """A new case in ``folder`` (made when missing), not saved yet. Force and kind of pull are still to be chosen.

    Raises EditError for a ``case_id`` that is refused, and BadFileError when the folder has a case already.
    """
    home = Path(folder)
    values: Values = {"schema": 1, "case_id": case_id, "scans": {}, "landmarks": {}}
    _refuse_wrong(values, ("case_id",))
    if (home / CASE_FILE).exists():
        raise BadFileError(f"{home} has a {CASE_FILE} already; open it, or start in another folder.")
    try:
        home.mkdir(parents=True, exist_ok=True)
    except OSError as err:
        raise BadFileError(f"{home}: cannot be made a folder ({err.strerror}); give another.") from err
    return Draft(home.resolve(), values)


def with_value(draft: Draft, key_path: KeyPath, value: Any, *, same_step: bool = False) -> Draft:
    """``draft`` with ``value`` at ``key_path``, as "pull.right.force_n" or ("landmarks", "occlusal_plane_mm", 2).

    Tables on the way are made. ``same_step``: part of the step before (a drag), so that one undo takes back
    all. Raises EditError in one line, with the key path, for a value no case may hold.
    """
    parts = _parts(key_path)
    plain = _plain(value, ".".join(map(str, parts)))
    values = _put(draft.values, parts, plain, parts)
    _refuse_wrong(values, parts)
    return _stepped(draft, values, same_step=same_step)


def without_value(draft: Draft, key_path: KeyPath) -> Draft:
    """``draft`` without what stands at ``key_path``; the same draft when nothing does."""
    parts = _parts(key_path)
    if draft.value(parts) is None:
        return draft
    return _stepped(draft, _cut(draft.values, parts), same_step=False)


def with_landmark(
    draft: Draft, name: str, point_mm: ArrayLike, *, index: int | None = None, same_step: bool = False
) -> Draft:
    """``draft`` with the landmark ``name`` at ``point_mm`` (3,), LPS mm, kept to a micrometre.

    ``name``: as in the case file, or "right_molar.trifurcation" for a landmark of a scan (in that scan's own frame).
    Of the occlusal plane's points, ``index`` is the one that moves; None adds one. Raises EditError.
    """
    point = _point(point_mm, name)
    parts = _landmark_parts(name)
    if name in _LISTS:
        count = len(draft.value(parts) or [])
        at = count if index is None else index
        if not 0 <= at <= count:
            raise EditError(f"landmarks.{name}: has {count} points; got number {at}.")
        parts = (*parts, at)
    elif index is not None:
        raise EditError(f"landmarks.{name}: is one point, so it takes no number; got {index}.")
    return with_value(draft, parts, point, same_step=same_step)


def without_landmark(draft: Draft, name: str, *, index: int | None = None) -> Draft:
    """``draft`` without the landmark ``name``, or without one of the occlusal plane's points."""
    parts = _landmark_parts(name)
    return without_value(draft, parts if index is None else (*parts, index))


def with_scan(
    draft: Draft,
    name: str,
    file: str,
    *,
    tooth: int | None = None,
    axes: str = "LPS",
    unit: str | None = None,
) -> Draft:
    """``draft`` with the scan ``name`` ("right_molar", "arch" ...) read from ``file`` in the case's folder.

    Landmarks and registration of a scan stay when it is the same file. Raises EditError for an unknown scan or
    axes, and for a file that is not in the folder.
    """
    from mesh_tools.axes import axes_matrix

    if name not in _SCANS:
        raise EditError(f"scans.{name}: is not a scan of a case; known are {', '.join(_SCANS)}.")
    try:
        place = inside(draft.folder, file)
        axes_matrix(axes)
    except BowtrueError as err:
        raise EditError(f"scans.{name}: {err}") from err
    if not place.is_file():
        raise EditError(f"scans.{name}.file: {file!r} is not in the case's folder; upload it first.")
    old = draft.value(("scans", name))
    kept = {
        k: old[k]
        for k in ("landmarks", "register")
        if isinstance(old, dict) and old.get("file") == file and k in old
    }
    given = {"file": file, "tooth": tooth, "axes": axes, "unit": unit}
    return with_value(draft, ("scans", name), {k: v for k, v in given.items() if v is not None} | kept)


def without_scan(draft: Draft, name: str) -> Draft:
    """``draft`` without the scan ``name``; the file stays in the folder."""
    return without_value(draft, ("scans", name))


def undone(draft: Draft) -> Draft:
    """The draft before its last change; the same draft when there is none."""
    if not draft.past:
        return draft
    return replace(draft, values=draft.past[-1], past=draft.past[:-1], future=(*draft.future, draft.values))


def redone(draft: Draft) -> Draft:
    """The draft with its last undone change made again; the same draft when there is none."""
    if not draft.future:
        return draft
    past = (*draft.past, draft.values)[-MOST_STEPS:]
    return replace(draft, values=draft.future[-1], past=past, future=draft.future[:-1])


def case_of(draft: Draft) -> CaseModel:
    """The case that the draft holds; raises CaseError with one line a problem."""
    return parsed_case(draft.values)


def problems(draft: Draft) -> tuple[str, ...]:
    """What keeps the draft from being planned, one line a key path; empty when it is ready. Never raises."""
    found = [p.text for p in problems_in(draft.values)]
    marks = draft.values.get("landmarks")
    if isinstance(marks, dict):
        there = {**_in_own_frames(draft.values.get("landmarks_in")), **marks}
        found += [
            f"landmarks.{n}: is missing; a plan needs it." for n in PLAN_LANDMARKS if there.get(n) is None
        ]
    scans = draft.values.get("scans")
    if isinstance(scans, dict):
        found += [text for name, scan in scans.items() for text in _scan_problems(draft, name, scan)]
    return tuple(found)


def _in_own_frames(tables: Any) -> Values:
    """Every landmark given in a scan's own frame, by name."""
    given = tables.values() if isinstance(tables, dict) else ()
    return {name: point for table in given if isinstance(table, dict) for name, point in table.items()}


def changed_on_disk(draft: Draft) -> bool:
    """Whether the case file is no longer what the draft last read or wrote."""
    try:
        return hash_of(draft.file.read_bytes()) != draft.stamp
    except OSError:
        return draft.stamp is not None


def saved(draft: Draft) -> Draft:
    """``draft`` written to its case file, whole or not at all; the draft that comes back knows the file.

    A case file with comments or an order of its own is kept once as ``case.original.toml``, and ``notes`` says so,
    since writing loses them. Raises ChangedOnDiskError when another program has changed the file since (nothing is
    written), FolderBusyError when it is writing, and BadFileError when the disk refuses.
    """
    try:
        with held(draft.folder):
            leftovers_removed(draft.folder, draft.name)
            old = draft.file.read_bytes() if draft.file.exists() else None
            _refuse_changed(draft, old)
            notes = _original_kept(draft, old)
            data = case_text(draft.values).encode()
            if data != old:
                with beside(draft.file) as stream:
                    stream.write(data)
    except OSError as err:
        raise BadFileError(
            f"{draft.file}: cannot be written ({err.strerror or err}); free the disk."
        ) from err
    return replace(draft, stamp=hash_of(data), saved_values=draft.values, notes=notes)


def case_text(values: Values) -> str:
    """``values`` as the text of a case file."""
    return _HEAD + tomli_w.dumps(values)


def _refuse_changed(draft: Draft, old: bytes | None) -> None:
    now = None if old is None else hash_of(old)
    if now == draft.stamp:
        return
    what = "was removed" if old is None else "was changed by another program"
    raise ChangedOnDiskError(
        f"{draft.file} {what} since it was opened; nothing was written: open it again, or save under another name."
    )


def _original_kept(draft: Draft, old: bytes | None) -> tuple[str, ...]:
    """Keep a case file that rewriting would take comments or order from, once."""
    keep = draft.folder / ORIGINAL
    if old is None or keep.exists() or case_text(case_values(old, draft.file)).encode() == old:
        return ()
    with beside(keep) as stream:
        stream.write(old)
    return (f"{draft.name} is written anew without its comments; it is kept as it was in {ORIGINAL}.",)


def _scan_problems(draft: Draft, name: str, scan: Any) -> list[str]:
    if not isinstance(scan, dict) or not isinstance(scan.get("file"), str):
        return []
    found = []
    try:
        if not inside(draft.folder, scan["file"]).is_file():
            found.append(f"scans.{name}.file: {scan['file']!r} is not in the case's folder; upload it.")
    except BowtrueError as err:
        found.append(f"scans.{name}.file: {err}")
    if name.endswith("_molar") and scan.get("tooth") is None:
        found.append(
            f"scans.{name}.tooth: is missing; give the FDI number, 16 or 26 for an upper first molar."
        )
    return found


def _stepped(draft: Draft, values: Values, *, same_step: bool) -> Draft:
    if values == draft.values:
        return draft
    past = draft.past if same_step and draft.past else (*draft.past, draft.values)[-MOST_STEPS:]
    return replace(draft, values=values, past=past, future=())


def _refuse_wrong(values: Values, parts: tuple[str | int, ...]) -> None:
    """Raises EditError for what is wrong at ``parts`` or below and would not be mended by going on working."""
    for problem in problems_in(values):
        if problem.path[: len(parts)] == parts and problem.kind not in _UNFINISHED:
            raise EditError(problem.text)


def _put(here: Any, parts: tuple[str | int, ...], value: Any, whole: tuple[str | int, ...]) -> Any:
    """``here`` with ``value`` at ``parts``; only what lies on the way is copied."""
    if not parts:
        return value
    first, rest = parts[0], parts[1:]
    if isinstance(first, int) and isinstance(here, list | None):
        items = list(here or [])
        if not 0 <= first <= len(items):
            raise EditError(f"{'.'.join(map(str, whole))}: has {len(items)} items; got number {first}.")
        items[first : first + 1] = [_put(items[first] if first < len(items) else None, rest, value, whole)]
        return items
    if isinstance(first, str) and isinstance(here, dict | None):
        table = dict(here or {})
        table[first] = _put(table.get(first), rest, value, whole)
        return table
    raise EditError(f"{'.'.join(map(str, whole))}: leads into a value that is no table; mend the case file.")


def _cut(here: Any, parts: tuple[str | int, ...]) -> Any:
    first, rest = parts[0], parts[1:]
    if isinstance(here, list):
        items = list(here)
        items[int(first) : int(first) + 1] = [_cut(items[int(first)], rest)] if rest else []
        return items
    table = dict(here)
    if rest:
        table[str(first)] = _cut(table[str(first)], rest)
    else:
        del table[str(first)]
    return table


def _parts(key_path: KeyPath) -> tuple[str | int, ...]:
    if not isinstance(key_path, str):
        parts = tuple(key_path)
    else:
        parts = tuple(int(p) if p.isdecimal() else p for p in key_path.split("."))
    if not parts or "" in parts:
        raise EditError(f"key path {key_path!r} must name a key of the case file, such as bow.arm_length_mm.")
    return parts


def _landmark_parts(name: str) -> tuple[str | int, ...]:
    scan, dot, own = name.partition(".")
    return ("scans", scan, "landmarks", own) if dot else ("landmarks", name)


def _point(point_mm: ArrayLike, name: str) -> list[float]:
    try:
        point = np.asarray(point_mm, dtype=np.float64)
    except (TypeError, ValueError):
        raise EditError(f"landmarks.{name}: must be three numbers in mm; got {point_mm!r}.") from None
    if point.shape != (3,) or not np.isfinite(point).all():
        raise EditError(f"landmarks.{name}: must be three finite numbers in mm; got {point.tolist()}.")
    return [round(float(v), 3) + 0.0 for v in point]


def _plain(value: Any, told: str) -> Any:
    """``value`` as TOML can hold it; raises EditError for NaN, infinity and anything else."""
    if isinstance(value, np.ndarray | np.generic):
        value = value.tolist()
    if isinstance(value, float) and not math.isfinite(value):
        raise EditError(f"{told}: must be a finite number; got {value}.")
    if isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, Mapping):
        return {str(k): _plain(v, f"{told}.{k}") for k, v in value.items()}
    if isinstance(value, Sequence):
        return [_plain(v, told) for v in value]
    raise EditError(f"{told}: must be text, a number, a list or a table; got {type(value).__name__}.")
