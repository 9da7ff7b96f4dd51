"""Makes every file of this folder again: ``python -m demo_meshes.generate [FOLDER]`` (about two minutes)."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from demo_meshes.files import write_stl
from demo_meshes.molar import MolarTruth
from demo_meshes.scenario import Landmarks, case_text, head_mesh, landmarks, placed_arch, placed_molar
from demo_meshes.teeth import Dentition
from mesh_tools.arrays import Array

AXES = {"molar_16": "RAS", "molar_26": "LPS", "arch": "LSA", "face": "LSA"}


def main(folder: Path) -> None:
    """Write meshes, ``case.toml`` and ``truth.json`` into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    dentition = Dentition()
    truths = {}
    for fdi in (16, 26):
        points, faces, truths[fdi] = placed_molar(dentition.tooth(fdi))
        write_stl(folder / f"molar_{fdi}.stl", points, faces, axes=AXES[f"molar_{fdi}"])
    for name, (points, faces) in {"arch": placed_arch(dentition), "face": head_mesh()}.items():
        write_stl(folder / f"{name}.stl", points, faces, axes=AXES[name])
    marks = landmarks(dentition, truths)
    (folder / "case.toml").write_text(case_text(marks), encoding="utf-8")
    text = json.dumps(truth_record(truths, marks), indent=1)
    (folder / "truth.json").write_text(text + "\n", encoding="utf-8")


def truth_record(truths: dict[int, MolarTruth], marks: Landmarks) -> dict[str, Any]:
    """What the generator knows, LPS mm, as plain lists."""
    teeth = {str(fdi): _tooth_record(t) for fdi, t in truths.items()}
    skin = {k: _listed(v) for k, v in marks.face_points.items()}
    return {"frame": "LPS", "unit": "mm", "teeth": teeth, "face_points": skin}


def _tooth_record(truth: MolarTruth) -> dict[str, Any]:
    return {
        "cervical_line_mm": _listed(truth.cervical_line_mm),
        "apices_mm": {k: _listed(v) for k, v in truth.apices_mm.items()},
        "furcations_mm": {k: _listed(v) for k, v in truth.furcations_mm.items()},
        "roof_mm": _listed(truth.roof_mm),
        "cusp_tips_mm": _listed(truth.cusp_tips_mm),
        "long_axis": _listed(truth.long_axis, 6),
        "tube_site_mm": _listed(truth.tube_site_mm),
        "root_area_mm2": round(truth.root_area_mm2, 2),
    }


def _listed(a: Array, digits: int = 4) -> Any:
    return np.round(a, digits).tolist()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
