"""Cases moved as a whole: the scans' files and every landmark, by a rotation or reflection and a shift."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

from casework.case_file import CaseModel, parsed_case
from demo_meshes import demo_folder
from mesh_tools.arrays import Array
from mesh_tools.axes import to_lps
from mesh_tools.read import read_surface
from mesh_tools.write import write_ply


def demo_values() -> dict[str, Any]:
    """The demo case as plain values."""
    return tomllib.loads((demo_folder() / "case.toml").read_text("utf-8"))


def moved_case(
    folder: Path, matrix: Array, shift_mm: Array, *, scans: tuple[str, ...] = ("right_molar", "left_molar")
) -> CaseModel:
    """The demo case with the named scans only, everything moved as ``matrix @ p + shift``; scans written as PLY."""
    values = demo_values()
    mirrored = np.linalg.det(matrix) < 0
    out: dict[str, Any] = copy.deepcopy(values)
    out["scans"] = {}
    for name in scans:
        scan = values["scans"][name]
        surface = to_lps(read_surface(demo_folder() / scan["file"]), scan["axes"]).moved(matrix, shift_mm)
        new = _other_side(name) if mirrored else name
        write_ply(folder / f"{new}.ply", surface)
        out["scans"][new] = {"file": f"{new}.ply", "axes": "LPS", "unit": "mm"}
        if "tooth" in scan:
            out["scans"][new]["tooth"] = {16: 26, 26: 16}[scan["tooth"]] if mirrored else scan["tooth"]
    marks = values["landmarks"]
    out["landmarks"] = {
        (_other_side(key) if mirrored else key): (np.array(point) @ matrix.T + shift_mm).tolist()
        for key, point in marks.items()
    }
    return parsed_case(out)


def _other_side(name: str) -> str:
    for one, other in (("right", "left"), ("left", "right")):
        if one in name:
            return name.replace(one, other)
    return name
