"""Makes every file of this folder again: ``python -m demo_meshes.generate [FOLDER]``."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from demo_meshes.files import write_stl
from demo_meshes.frame import dentition_to_lps
from demo_meshes.molar import MolarShape, MolarTruth, molar
from demo_meshes.teeth import Dentition, PlacedTooth
from mesh_tools.arrays import Array, IntArray


def placed_molar(tooth: PlacedTooth, *, step_mm: float = 0.34) -> tuple[Array, IntArray, MolarTruth]:
    """Points, outward faces and truth of a first molar where it stands in the arch, LPS mm."""
    assert isinstance(tooth.shape, MolarShape)
    points, faces, truth = molar(tooth.shape, step_mm=step_mm)
    turn = dentition_to_lps() @ tooth.placement.rotation
    shift = dentition_to_lps() @ tooth.placement.shift_mm
    if np.linalg.det(turn) < 0:
        faces = np.ascontiguousarray(faces[:, ::-1])
    return points @ turn.T + shift, faces, truth.moved(turn, shift)


def main(folder: Path) -> None:
    """Write everything into ``folder``."""
    dentition = Dentition()
    for fdi, axes in ((16, "RAS"), (26, "LPS")):
        points, faces, _ = placed_molar(dentition.tooth(fdi))
        write_stl(folder / f"molar_{fdi}.stl", points, faces, axes=axes)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
