"""The demo as it comes in practice: scans in frames of their own, register tables, landmarks where they were picked."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w

from demo_meshes import demo_folder
from demo_meshes.scattered import Move, write_scattered

_PICKED_ON = {"tube": "arch", "incisor": "arch", "occlusal": "arch", "mouth": "face", "strap": "face"}
_PAIRS_OF_ARCH = ("cusp_16_0", "cusp_16_1", "cusp_16_3", "cusp_26_0", "cusp_26_3")
_PICKED_MM = 0.4  # scatter of a cusp picked on a screen, each coordinate (common practice, no source)
_HEAD = """\
# The invented demo child again, as cases come in practice: both molars from one CBCT, the arch from an intraoral scan,
# the face from a face scan, each in a frame of its own. No real patient. Made by bowtrue demo --scattered.
# Both molars set the frame of the case: LPS mm, +x the patient's left, +y back, +z up.
"""


def write_scattered_case(folder: Path, *, seed: int = 5) -> Path:
    """Write the scattered demo scans, ``moves.json`` and ``case.toml`` into ``folder``; returns the case file.

    The arch is laid on both molars' crowns from five roughly picked cusps, the face by landmarks alone, told to 0.1 mm.
    """
    done = write_scattered(demo_folder(), folder, seed=seed)
    record = json.loads((folder / "moves.json").read_text("utf-8"))
    values = tomllib.loads((demo_folder() / "case.toml").read_text("utf-8"))
    values["case_id"] += "-scattered"
    for scan in values["scans"].values():
        scan["axes"] = "LPS"
    rng = np.random.default_rng(seed)
    values["scans"]["arch"]["register"] = {
        "to": ["right_molar", "left_molar"], **_pairs(record["arch"], _PAIRS_OF_ARCH, rng, _PICKED_MM),
    }  # fmt: skip
    values["scans"]["face"]["register"] = _pairs(record["face"], tuple(record["face"]["landmarks"]), rng, 0.0)
    values["landmarks_in"] = _in_own_frames(values.pop("landmarks"), done)
    case = folder / "case.toml"
    case.write_text(_HEAD + tomli_w.dumps(values), "utf-8")
    return case


def _pairs(record: Any, names: tuple[str, ...], rng: np.random.Generator, scatter_mm: float) -> Any:
    """Landmark pairs of a scan, to 0.1 mm, its own points off by ``scatter_mm`` (standard deviation)."""
    own = np.array([record["landmarks"][n]["own_mm"] for n in names])
    own += scatter_mm * rng.normal(size=own.shape)
    fixed = [record["landmarks"][n]["lps_mm"] for n in names]
    return {"moving_mm": np.round(own, 1).tolist(), "fixed_mm": np.round(fixed, 1).tolist()}


def _in_own_frames(marks: Mapping[str, Any], done: Mapping[str, Move]) -> dict[str, dict[str, Any]]:
    """Each landmark in the frame of the scan it is picked on."""
    tables: dict[str, dict[str, Any]] = {}
    for key, points in marks.items():
        scan = _PICKED_ON[key.split("_")[0]]
        rows = np.atleast_2d(np.array(points, dtype=np.float64))
        there = np.round(done[scan].applied(rows), 3).tolist()
        tables.setdefault(scan, {})[key] = there if np.ndim(points) == 2 else there[0]
    return tables
