"""What a load looks like in a scene: a wire coloured by its stress, a curved arrow for a moment."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, IntArray, unit
from viewer.glyph_shapes import tube_shape
from viewer.stress_colours import stress_colours

_AROUND = 12
_LEAST_SWEEP, _MOST_SWEEP = np.radians(45.0), np.radians(300.0)
_RAD_PER_N_MM = np.radians(6.0)
_HEAD = 3.0


def stressed_tube(
    points_mm: Array, stress_mpa: Array, *, radius_mm: float, top_mpa: float
) -> tuple[Array, IntArray, Array]:
    """Tube around ``points_mm`` (n, 3): its points, faces (m, 3) and their colours (m, 3), each piece by the mean
    of ``stress_mpa`` (n,) at its two ends."""
    points, faces = tube_shape(points_mm, radius_mm=radius_mm, around=_AROUND)
    piece = np.repeat(0.5 * (stress_mpa[1:] + stress_mpa[:-1]), _AROUND)
    ends = np.repeat(stress_mpa[[0, -1]], _AROUND)
    return points, faces, stress_colours(np.concatenate([piece, piece, ends]), top_mpa=top_mpa)


def curl_sweep(moment_n_mm: float) -> float:
    """How far (rad) a curved arrow turns: 6 degrees a N mm, within what can be drawn."""
    return float(np.clip(_RAD_PER_N_MM * abs(moment_n_mm), _LEAST_SWEEP, _MOST_SWEEP))


def curl_arc(*, axis: Array, middle: Array, radius_mm: float, sweep: float, stations: int = 40) -> Array:
    """Arc (stations, 3) about the origin, turning right-handed about ``axis`` (3,) by ``sweep`` rad, its half-way
    point toward ``middle`` (3,)."""
    a = unit(axis, name="moment axis")
    one = unit(middle - (middle @ a) * a, name="middle of the arc")
    turn = np.linspace(-0.5 * sweep, 0.5 * sweep, stations)
    return radius_mm * (np.cos(turn)[:, None] * one + np.sin(turn)[:, None] * np.cross(a, one))


def curl_shape(
    *, axis: Array, middle: Array, radius_mm: float, wire_mm: float, sweep: float
) -> tuple[Array, IntArray]:
    """A curved arrow about the origin as points and faces: a tube along ``curl_arc`` that ends in a cone."""
    head = _HEAD * wire_mm
    arc = curl_arc(axis=axis, middle=middle, radius_mm=radius_mm, sweep=sweep)
    neck = max(2, int(np.ceil(len(arc) * (1.0 - head / (radius_mm * sweep)))))
    line = np.concatenate([arc[:neck], [arc[neck - 1] + 1e-3 * (arc[neck - 1] - arc[neck - 2])], arc[-1:]])
    radius = np.concatenate([np.full(neck, 0.5 * wire_mm), [1.5 * wire_mm, 0.01]])
    return tube_shape(line, radius_mm=radius)
