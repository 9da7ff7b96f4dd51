"""Tasks for ``jobs.begun``: top-level functions that a child process can find by name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from casework.case_file import CaseModel
    from casework.centre import CentreReport
    from casework.plan import Plan
    from mechanics.sides import Side


def planned(case: CaseModel, folder: Path, *, progress: Callable[[str], None]) -> Plan:
    """The plan of ``case`` with its samples and, when the case asks for them, its finite elements."""
    from casework.planning import plan_case  # in the child, so that starting it is quick

    return plan_case(case, folder, progress=progress)


def estimated(case: CaseModel, folder: Path, *, progress: Callable[[str], None]) -> dict[Side, CentreReport]:
    """Every estimate of both molars, with the finite elements when they are the case's target; see ``keep_reports``."""
    from casework.desk import bench  # in the child, so that starting it is quick
    from casework.desk.shelf import Shelf

    progress("centres of resistance")
    return bench.estimated(case, folder, Shelf())
