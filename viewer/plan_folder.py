"""Writes a plan's folder: numbers, bow, pictures, report; all of it or nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from casework.bow_csv import bow_csv
from casework.case_copy import CaseUsed, write_case_copy
from casework.plan import Plan
from casework.plan_json import plan_as_dict
from casework.writing import filled_folder


def write_plan_folder(
    plan: Plan, out: Path, *, pictures: bool, progress: Callable[[str], None], used: CaseUsed | None = None
) -> list[str]:  # fmt: skip
    """Write ``plan.json``, ``bow.csv`` and, with ``pictures``, ``scene.png``, ``side.png``, ``bow.png``,
    ``scene.html``, ``report.html``, ``report.pdf`` and ``sheets.pdf``.

    With ``used`` (what the plan was made from) the case as used goes beside them as ``case-used.toml``.
    Returns the lines to tell the user (such as what is missing for 3D pictures). Nothing is written if it fails.
    """
    notes: list[str] = []
    with filled_folder(out) as folder:
        progress("writing the plan")
        text = json.dumps(plan_as_dict(plan), indent=2, allow_nan=False)
        (folder / "plan.json").write_text(text + "\n", "utf-8")
        (folder / "bow.csv").write_text(bow_csv(plan), "utf-8")
        if used is not None:
            write_case_copy(used, folder, out)
        if pictures:
            from viewer.plan_pictures import write_pictures

            notes += write_pictures(plan, folder, progress=progress, used=used)
            notes += _written_sheets(plan, folder, progress)
    return notes


def _written_sheets(plan: Plan, folder: Path, progress: Callable[[str], None]) -> list[str]:
    """Write ``sheets.pdf`` on A4; returns a line when the drawings are too large for it, and none is written."""
    from viewer.extras import PDF, lacking

    if lacking(*PDF):
        return []
    from viewer.sheets.build import sheets_as_pdf
    from viewer.sheets.model import PAPERS, PaperError

    progress("writing sheets.pdf")
    try:
        (folder / "sheets.pdf").write_bytes(sheets_as_pdf(plan, PAPERS["a4"]))
    except PaperError as err:
        return [f"sheets.pdf is left out: {err}"]
    return []
