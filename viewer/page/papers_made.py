"""The papers of a case, made in a child process: plan, report and pictures, sheets, case file; whole or not at all."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from casework.case_file import CaseModel

if TYPE_CHECKING:
    from casework.plan import Plan

Say = Callable[[str], None]
PAPERS_FOLDER = "papers"


@dataclass(frozen=True)
class Kind:
    """One kind of paper: its key, the module and function that write it, and how it is called."""

    key: str
    module: str
    function: str
    call: Callable[[Any, Plan, Path, str, Say], None]

    @property
    def there(self) -> bool:
        """Whether this installation can make it."""
        try:
            return hasattr(importlib.import_module(self.module), self.function)
        except ImportError:
            return False

    def write(self, plan: Plan, folder: Path, paper: str, progress: Say) -> None:
        """Write it into ``folder``."""
        self.call(getattr(importlib.import_module(self.module), self.function), plan, folder, paper, progress)


def _report(write: Any, plan: Plan, folder: Path, _paper: str, progress: Say) -> None:
    write(plan, folder, progress=progress)


def _sheets(write: Any, plan: Plan, folder: Path, paper: str, _progress: Say) -> None:
    write(plan, folder, importlib.import_module("viewer.sheets.model").paper_named(paper))


KINDS: tuple[Kind, ...] = (
    Kind("report", "viewer.plan_pictures", "write_pictures", _report),
    Kind("sheets", "viewer.sheets.build", "write_sheets", _sheets),
)


def kinds_there() -> tuple[Kind, ...]:
    """The kinds of paper that this installation can make."""
    return tuple(kind for kind in KINDS if kind.there)


def papers_made(
    case: CaseModel, folder: Path, keys: tuple[str, ...], paper: str, *, progress: Say
) -> tuple[str, ...]:
    """Plan ``case`` and write its papers into the folder ``papers`` of ``folder``; the names written.

    ``keys``: of ``KINDS``. ``plan.json``, ``bow.csv`` and ``case.toml`` always go with them. Raises BowtrueError.
    """
    import json

    from casework.bow_csv import bow_csv
    from casework.plan_json import plan_as_dict
    from casework.planning import plan_case
    from casework.writing import filled_folder

    plan = plan_case(case, folder, progress=progress)
    with filled_folder(folder / PAPERS_FOLDER) as scratch:
        (scratch / "plan.json").write_text(
            json.dumps(plan_as_dict(plan), indent=2, allow_nan=False) + "\n", "utf-8"
        )
        (scratch / "bow.csv").write_text(bow_csv(plan), "utf-8")
        (scratch / "case.toml").write_bytes((folder / "case.toml").read_bytes())
        for kind in kinds_there():
            if kind.key in keys:
                progress(kind.key)
                kind.write(plan, scratch, paper, progress)
        return tuple(sorted(p.name for p in scratch.iterdir()))
