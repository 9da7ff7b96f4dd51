"""Small teeth for studies: the demo molars, turned and sized so that each is a file of its own."""

from pathlib import Path

import numpy as np

from mesh_tools.axes import to_lps
from mesh_tools.read import read_surface
from mesh_tools.surface import Surface
from mesh_tools.write import write_stl

DEMO = Path(__file__).resolve().parents[2] / "demo_meshes"


def write_teeth(folder: Path, count: int, *, seed: int = 3) -> Path:
    """``count`` molars named ``t0_16.stl``, ``t1_26.stl`` ...; returns a table of them with an age."""
    rng = np.random.default_rng(seed)
    sources = {fdi: to_lps(read_surface(DEMO / f"molar_{fdi}.stl"), axes)
               for fdi, axes in ((16, "RAS"), (26, "LPS"))}  # fmt: skip
    lines = ["id,mesh,tooth,axes,unit,age"]
    for k in range(count):
        fdi = (16, 26)[k % 2]
        size = 1.0 + 0.05 * rng.normal()
        whole = sources[fdi]
        write_stl(folder / f"t{k}_{fdi}.stl", Surface(whole.points_mm * size, whole.faces))
        lines.append(f"t{k},t{k}_{fdi}.stl,{fdi},LPS,mm,{9.0 + 0.1 * k:.1f}")
    path = folder / "teeth.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path
