"""A neck without any bend: a line is still given, and the report says on what it stands."""

from __future__ import annotations

import numpy as np

from casework.incomplete import line_warnings
from demo_meshes import demo_folder
from mesh_tools.anatomy import tooth_anatomy
from mesh_tools.fdi import ToothNumber
from mesh_tools.read import read_surface
from mesh_tools.surface import Surface


def smooth_peg(*, rings: int = 80, around: int = 60) -> Surface:
    """A closed peg of 22 mm without a neck: a long ellipsoid, apex up, crown end blunt and wider."""
    t = np.linspace(0.0, np.pi, rings + 1)[1:-1]
    a = 2.0 * np.pi * np.arange(around) / around
    radius = 4.0 * np.sin(t) * (1.0 + 0.15 * np.cos(t))
    ring = np.stack(np.broadcast_arrays(radius[:, None] * np.cos(a), radius[:, None] * np.sin(a)), axis=2)
    points = np.concatenate(
        [ring, np.broadcast_to((-11.0 * np.cos(t))[:, None, None], (*ring.shape[:2], 1))], axis=2
    )
    n = len(t) * around
    i = np.arange(n).reshape(len(t), around)
    j = np.roll(i, -1, axis=1)
    walls = [np.stack(q, -1).reshape(-1, 3) for q in ((i[:-1], j[:-1], i[1:]), (j[:-1], j[1:], i[1:]))]
    caps = [
        np.stack([j[0], i[0], np.full(around, n)], -1),
        np.stack([i[-1], j[-1], np.full(around, n + 1)], -1),
    ]
    ends = np.array([[0.0, 0.0, -11.0], [0.0, 0.0, 11.0]])
    return Surface(np.concatenate([points.reshape(-1, 3), ends]), np.concatenate(walls + caps))


def test_a_peg_without_a_neck_is_warned_of():
    found = line_warnings(tooth_anatomy(smooth_peg(), ToothNumber(21)))
    assert len(found) == 1
    assert "hardly shows" in found[0]


def test_a_molar_with_a_neck_is_not():
    surface = read_surface(demo_folder() / "molar_26.stl")
    assert line_warnings(tooth_anatomy(surface, ToothNumber(26))) == []
