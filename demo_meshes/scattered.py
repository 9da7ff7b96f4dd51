"""The demo's scans as they come in practice: each machine's in its own frame, the way back known."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from demo_meshes.files import read_stl, write_stl
from mesh_tools.arrays import Array

FRAMES = {"right_molar": "cbct", "left_molar": "cbct", "arch": "intraoral", "face": "face"}
"""Which machine made which scan: both molars come from one CBCT and so share a frame."""


@dataclass(frozen=True, eq=False)
class Move:
    """A rigid motion from LPS into a scan's own frame: ``rotation @ p + shift_mm``."""

    rotation: Array
    shift_mm: Array

    def applied(self, p: Array) -> Array:
        """Points (n, 3) in the scan's own frame."""
        return np.asarray(p @ self.rotation.T + self.shift_mm)

    def undone(self, p: Array) -> Array:
        """Points (n, 3) of the scan's own frame back in LPS."""
        return np.asarray((p - self.shift_mm) @ self.rotation)


def moves(seed: int = 5, *, turn_deg: float = 40.0, shift_mm: float = 80.0) -> dict[str, Move]:
    """A motion for each scan of the case; the CBCT's is the identity, the others turn and shift by these amounts."""
    rng = np.random.default_rng(seed)
    by_frame = {"cbct": Move(np.eye(3), np.zeros(3))}
    for name in ("intraoral", "face"):
        axis, way = (v / np.linalg.norm(v) for v in rng.normal(size=(2, 3)))
        by_frame[name] = Move(_turn(axis, np.radians(turn_deg)), shift_mm * way)
    return {scan: by_frame[frame] for scan, frame in FRAMES.items()}


def write_scattered(source: Path, target: Path, *, seed: int = 5) -> dict[str, Move]:
    """Write the demo scans of ``source`` into ``target``, each moved into its own frame (axes LPS there).

    Beside them ``moves.json``: for each scan its file, rotation (3, 3) and shift, and for the arch and the face
    pairs of landmarks, ``own_mm`` in the scan's frame and ``lps_mm``. Returns the motions that were applied.
    """
    target.mkdir(parents=True, exist_ok=True)
    scans = tomllib.loads((source / "case.toml").read_text(encoding="utf-8"))["scans"]
    done, record = moves(seed), {}
    pairs = _pairs(source)
    for name, scan in scans.items():
        points, faces = read_stl(source / scan["file"], axes=scan["axes"])
        write_stl(target / scan["file"], done[name].applied(points), faces)
        known = pairs.get(name, {})
        record[name] = {
            "file": scan["file"],
            "rotation": done[name].rotation.tolist(),
            "shift_mm": done[name].shift_mm.tolist(),
            "landmarks": {k: {"own_mm": done[name].applied(p[None])[0].tolist(), "lps_mm": p.tolist()}
                          for k, p in known.items()},
        }  # fmt: skip
    (target / "moves.json").write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
    return done


def _pairs(source: Path) -> dict[str, dict[str, Array]]:
    truth = json.loads((source / "truth.json").read_text(encoding="utf-8"))
    marks = tomllib.loads((source / "case.toml").read_text(encoding="utf-8"))["landmarks"]
    cusps = {
        f"cusp_{fdi}_{k}": np.array(p)
        for fdi, t in truth["teeth"].items()
        for k, p in enumerate(t["cusp_tips_mm"])
    }
    cusps["incisor_contact_mm"] = np.array(marks["incisor_contact_mm"])
    skin = {k: np.array(p) for k, p in truth["face_points"].items()}
    skin |= {k: np.array(marks[k]) for k in ("mouth_corner_right_mm", "mouth_corner_left_mm")}
    return {"arch": cusps, "face": skin}


def _turn(axis: Array, angle: float) -> Array:
    x, y, z = axis
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * cross @ cross)
