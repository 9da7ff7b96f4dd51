"""Fuzz one mesh door: ``python fuzz/fuzz_mesh.py --door stl -runs=100000 -rss_limit_mb=1024``.

Doors: stl, ply, obj, vtk, vtu, msh. What is accepted is also looked at as ``bowtrue look`` does: repair, shells, holes.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from fuzz.run import run

if __name__ == "__main__":
    run(("stl", "ply", "obj", "vtk", "vtu", "msh"))
