"""The scans of a draft, complete or not: each is read once, and one that is refused does not hide the others."""

from __future__ import annotations

import re
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from casework.case_file import CaseError, CaseModel, ScanModel, parsed_case
from casework.desk.draft import Draft
from casework.desk.folder import inside
from casework.desk.shelf import Shelf
from casework.registration import CaseRegistrationError
from casework.scans import Scan, ScanError, read_scan, read_scans
from mesh_tools.errors import BowtrueError
from mesh_tools.surface import Surface

_NOTHING_ELSE: dict[str, Any] = {
    "schema": 1, "case_id": "scans", "landmarks": {}, "pull": {"right": {"force_n": 1.0}, "left": {"force_n": 1.0}},
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Readings:
    """Scans by key, LPS mm in the case's frame, and the line that refuses each of the others."""

    scans: Mapping[str, Scan]
    refused: Mapping[str, str]

    @property
    def surfaces(self) -> dict[str, Surface]:
        """The surface of every scan that was read."""
        return {name: scan.surface for name, scan in self.scans.items()}


def readings(draft: Draft, shelf: Shelf) -> Readings:
    """Every scan of ``draft`` that can be read; what was read before comes from ``shelf``."""
    given = draft.values.get("scans")
    left = dict(given) if isinstance(given, dict) else {}
    refused: dict[str, str] = {}
    while left:
        try:
            case = parsed_case({**_NOTHING_ELSE, "scans": left})
            return Readings(case_scans(case, draft.folder, shelf), refused)
        except (CaseError, ScanError, CaseRegistrationError) as err:
            name = _blamed(str(err), left)
            refused[name] = str(err).splitlines()[0]
            del left[name]
    return Readings({}, refused)


def case_scans(case: CaseModel, folder: Path, shelf: Shelf) -> dict[str, Scan]:
    """``casework.scans.read_scans`` with every scan kept on ``shelf`` by its bytes, axes, unit and tooth.

    Files outside ``folder`` are refused. Raises ScanError and CaseRegistrationError, each naming the scan.
    """

    def read(name: str, model: ScanModel, where: Path) -> Scan:
        return shelf.kept("scan", scan_key(name, model, where, shelf), lambda: read_scan(name, model, where))

    whole = tuple((n, scan_key(n, m, folder, shelf), _register(m)) for n, m in _models(case))
    return shelf.kept("scans in one frame", whole, lambda: read_scans(case, folder, read=read))


def scan_key(name: str, model: ScanModel, folder: Path, shelf: Shelf) -> Hashable:
    """What the reading of one scan depends on. Raises ScanError for a file that is not in ``folder``."""
    try:
        sha = shelf.sha256(inside(folder, model.file))
    except BowtrueError as err:
        raise ScanError(f"scans.{name}: {err}") from err
    seed = None if model.seed_mm is None else tuple(model.seed_mm)
    return (name, model.file, sha, model.axes, model.unit, model.tooth, seed)


def _models(case: CaseModel) -> list[tuple[str, ScanModel]]:
    named = [(name, getattr(case.scans, name)) for name in type(case.scans).model_fields]
    return [(name, model) for name, model in named if model is not None]


def _register(model: ScanModel) -> str | None:
    return None if model.register_on is None else model.register_on.model_dump_json()


def _blamed(text: str, left: Mapping[str, Any]) -> str:
    """The scan that a refusal names; the last one when it names none that is left."""
    found = re.match(r"scans\.(\w+)", text)
    return found[1] if found and found[1] in left else list(left)[-1]
