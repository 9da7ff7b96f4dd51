"""All sheets of a plan, in the order they are used, and their files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from mechanics.sides import SIDES
from mesh_tools.errors import BadValueError
from viewer.sheets.bench import bench_drafts
from viewer.sheets.card import card_draft
from viewer.sheets.dxf import sheet_dxf
from viewer.sheets.frame import room, sheet
from viewer.sheets.model import Paper, Sheet, extent
from viewer.sheets.pdf import sheets_pdf
from viewer.sheets.stencil import stencil_draft
from viewer.sheets.svg import sheet_svg
from viewer.sheets.wearing import wearing_draft

if TYPE_CHECKING:
    from casework.plan import Plan


def sheets_of_plan(plan: Plan, paper: Paper, *, hours: float | None = None) -> tuple[Sheet, ...]:
    """Card, stencils, bench sheets, wearing sheet. ``hours`` a day go on the last, a blank line when None.

    Raises PaperError for a paper that is too small, BadValueError for hours that no day has.
    """
    check_hours(hours)
    space = room(paper)
    drafts = [
        card_draft(plan, space),
        *(stencil_draft(plan, plan.sides[side], space) for side in SIDES if side in plan.sides),
        *bench_drafts(plan, space),
        wearing_draft(space, hours=hours, withheld=not plan.bendable),
    ]
    named = {"case_id": plan.case_id, "version": plan.version}
    return tuple(
        _inside(sheet(d, paper, number=k + 1, of=len(drafts), **named)) for k, d in enumerate(drafts)
    )


def check_hours(hours: float | None) -> None:
    """Raises BadValueError for hours that no day has."""
    if hours is not None and not 0.0 < hours <= 24.0:
        raise BadValueError(f"hours a day must be above 0 and at most 24; got {hours:g}.")


def _inside(page: Sheet) -> Sheet:
    """``page``, proven to lie inside its paper."""
    left, low, right, top = extent(page.items)
    if left < 0.0 or low < 0.0 or right > page.paper.width or top > page.paper.height:
        raise BadValueError(
            f"sheet {page.name}: a drawing runs off paper {page.paper.name}; report this, please."
        )
    return page


def sheets_as_pdf(plan: Plan, paper: Paper, *, hours: float | None = None) -> bytes:
    """``sheets.pdf``."""
    return sheets_pdf(sheets_of_plan(plan, paper, hours=hours), title=f"Sheets, case {plan.case_id}")


def write_sheets(plan: Plan, folder: Path, paper: Paper, *, hours: float | None = None) -> list[str]:
    """``sheets.pdf`` and each sheet as SVG and DXF into ``folder``; returns the names of the files."""
    sheets = sheets_of_plan(plan, paper, hours=hours)
    files = {"sheets.pdf": sheets_pdf(sheets, title=f"Sheets, case {plan.case_id}")}
    for page in sheets:
        files[f"{page.name}.svg"] = sheet_svg(page).encode("utf-8")
        files[f"{page.name}.dxf"] = sheet_dxf(page).encode("utf-8")
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return list(files)
