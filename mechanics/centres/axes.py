"""Axes of resistance: in three dimensions each direction of force has its own line, and the lines need not meet.

Viecilli RF, Budiman A, Burstone CJ 2013 AJODO 143:163-172: the axes that couples about two directions make do not
intersect; a force translates where its direction sees the two axes square to it cross. By reciprocity the line
through that crossing is where a force along ``d`` turns the tooth about neither direction square to ``d``; what
turning about ``d`` itself remains is given beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.centres.stiffness_centres import elastic_centre
from mechanics.rigid import compliance, stiffness_about
from mesh_tools.arrays import Array, unit


@dataclass(frozen=True, eq=False)
class AxisOfResistance:
    """Line through ``point_mm`` (3,) along the unit force ``direction`` (3,); the point is the one nearest the elastic
    centre. ``spin_rad_per_n`` is the turn about the line itself that a force of 1 N along it still makes."""

    direction: Array
    point_mm: Array
    spin_rad_per_n: float

    def distance_mm(self, point_mm: ArrayLike) -> float:
        """Distance of a point (3,) from the line."""
        return float(np.linalg.norm(np.cross(self.direction, np.asarray(point_mm) - self.point_mm)))


@dataclass(frozen=True, eq=False)
class CoupleAxis:
    """Axis the tooth turns about under a couple about ``couple`` (3,): through ``point_mm`` along ``direction``.

    ``pitch_mm`` is the slide along the axis per radian (a screw; 0 for a pure turn).
    """

    couple: Array
    point_mm: Array
    direction: Array
    pitch_mm: float


@dataclass(frozen=True, eq=False)
class AxesOfResistance:
    """Axes for distal, buccal (transverse) and vertical force, and how nearly they meet in one point.

    ``distances_mm``: between each two of them; ``point_mm`` (3,) the point nearest all three (least squares), and
    ``miss_mm`` its largest distance from any of them: how far "a point" is true.
    """

    distal: AxisOfResistance
    buccal: AxisOfResistance
    vertical: AxisOfResistance
    distances_mm: dict[str, float]
    point_mm: Array
    miss_mm: float


def axis_of_resistance(stiffness: ArrayLike, direction: ArrayLike) -> AxisOfResistance:
    """Axis for a force along ``direction`` (3,), K (6, 6) about the origin; raises NoAnswerError as ``compliance``."""
    d = unit(direction, name="direction of force")
    middle, c = _about_elastic_centre(stiffness)
    across = _square_to(d)
    # theta . w = w'C_mf d + w'C_mm (r x d) = 0 for both w across, with r = across' s
    turning = across @ c[3:, 3:] @ np.cross(across, d).T
    s = np.linalg.solve(turning, -across @ c[3:, :3] @ d)
    offset = across.T @ s
    spin = float(d @ (c[3:, :3] @ d + c[3:, 3:] @ np.cross(offset, d)))
    return AxisOfResistance(d, middle + offset, spin)


def couple_axis(stiffness: ArrayLike, couple: ArrayLike) -> CoupleAxis:
    """Axis the tooth turns about under a couple about ``couple`` (3,); its point is nearest the elastic centre."""
    w = unit(couple, name="couple")
    middle, c = _about_elastic_centre(stiffness)
    slide, turn = c[:3, 3:] @ w, c[3:, 3:] @ w
    size = float(turn @ turn)
    pitch = float(slide @ turn) / size
    return CoupleAxis(w, middle + np.cross(turn, slide) / size, unit(turn), pitch)


def axes_of_resistance(stiffness: ArrayLike, *, rotation: ArrayLike | None = None) -> AxesOfResistance:
    """The three axes; rows of ``rotation`` (3, 3) are the buccal (x), distal (y) and vertical (z) directions of force,
    by default those of the frame of ``stiffness``."""
    x, y, z = np.eye(3) if rotation is None else np.asarray(rotation, dtype=np.float64)
    axes = {"distal": y, "buccal": x, "vertical": z}
    lines = {name: axis_of_resistance(stiffness, d) for name, d in axes.items()}
    pairs = (("distal", "buccal"), ("distal", "vertical"), ("buccal", "vertical"))
    distances = {f"{a}-{b}": line_distance_mm(lines[a], lines[b]) for a, b in pairs}
    point = _nearest_point(list(lines.values()))
    miss = max(line.distance_mm(point) for line in lines.values())
    return AxesOfResistance(lines["distal"], lines["buccal"], lines["vertical"], distances, point, miss)


def line_distance_mm(a: AxisOfResistance, b: AxisOfResistance) -> float:
    """Shortest distance between two lines, mm."""
    normal = np.cross(a.direction, b.direction)
    size = float(np.linalg.norm(normal))
    if size < 1e-9:
        return a.distance_mm(b.point_mm)
    return float(abs(normal @ (b.point_mm - a.point_mm)) / size)


def _about_elastic_centre(stiffness: ArrayLike) -> tuple[Array, Array]:
    """The elastic centre (3,) and the compliance (6, 6) about it."""
    k = np.asarray(stiffness, dtype=np.float64)
    middle = elastic_centre(k)
    return middle, compliance(stiffness_about(k, middle))


def _square_to(d: Array) -> Array:
    """Two unit rows (2, 3) square to ``d`` and to each other."""
    first = np.cross(d, np.eye(3)[int(np.argmin(np.abs(d)))])
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(d, first)])


def _nearest_point(lines: list[AxisOfResistance]) -> Array:
    """Point (3,) with the least sum of squared distances from the lines."""
    planes = [np.eye(3) - np.outer(line.direction, line.direction) for line in lines]
    right = sum((p @ line.point_mm for p, line in zip(planes, lines, strict=True)), np.zeros(3))
    return np.asarray(np.linalg.solve(sum(planes, np.zeros((3, 3))), right))
