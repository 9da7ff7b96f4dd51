"""What a line of force does to the tooth in the sagittal plane: centre of rotation, product law, and plain words.

Everything here is a pattern: the ligament's modulus scales the movement but neither the centre of rotation nor the
degrees of tip per mm of crown movement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.rigid import compliance, stiffness_about
from mesh_tools.arrays import Array, unit
from mesh_tools.errors import BadValueError

BODILY_DEG_PER_MM = 1.0
"""Tip per mm of crown movement below which a movement is called bodily: our choice, no source. Over the 20 mm from
crown to apex it lets the apex lag or lead the crown by about a third."""

KINDS = {
    "bodily": "The tooth moves bodily: crown and roots go together.",
    "crown_distal_tip": "The crown tips distally: it goes further back than the roots.",
    "root_distal_tip": "The roots tip distally: they go further back than the crown.",
}


@dataclass(frozen=True, eq=False)
class Movement:
    """Movement of a tooth under a line of force, in the sagittal plane.

    ``kind`` is a key of ``KINDS``; ``tip_deg_per_mm`` of crown movement, positive when the crown tips distally, None
    when the crown stays where it is; ``centre_of_rotation_mm`` (3,) in the sagittal plane, None for pure translation;
    ``offset_mm`` of the line from the sagittal centre, positive apical of it for a distal force; ``crown_share_distal``
    and ``apex_share_distal`` are the distal movements as shares of the larger in-plane movement of the two.
    """

    kind: str
    tip_deg_per_mm: float | None
    centre_of_rotation_mm: Array | None
    offset_mm: float
    crown_share_distal: float
    apex_share_distal: float

    @property
    def words(self) -> str:
        """One or two plain sentences."""
        if self.tip_deg_per_mm is None:
            return KINDS[self.kind] + " The crown itself stays where it is."
        return f"{KINDS[self.kind]} {abs(self.tip_deg_per_mm):.1f} degrees of tip per mm of crown movement."


def sigma_squared_mm2(
    stiffness: ArrayLike, direction: ArrayLike, *, x_axis: ArrayLike = (1.0, 0.0, 0.0)
) -> float:
    """Product a b of the distances centre-to-line and centre-to-rotation-centre for forces along ``direction``.

    One constant for all parallel forces in a plane (Naegerl H et al. 1991 AJODO 99:337-345): the compliance along the
    force through the sagittal centre over the compliance in turning about ``x_axis``. Its root is the radius of
    resistance (Dathe H et al. 2013 J Dent Biomech 4:1758736013499770) for that direction.
    """
    d, x = unit(direction, name="direction of force"), unit(x_axis, name="x_axis")
    if abs(d @ x) > 1e-6:
        raise BadValueError(
            f"the direction of force must lie in the plane square to x_axis; got {d.tolist()}."
        )
    _, c = _at_centre(stiffness, x)
    return float(d @ c[:3, :3] @ d / (x @ c[3:, 3:] @ x))


def radius_of_resistance_mm(
    stiffness: ArrayLike, direction: ArrayLike, *, x_axis: ArrayLike = (1.0, 0.0, 0.0)
) -> float:
    """Root of ``sigma_squared_mm2``, mm."""
    return math.sqrt(sigma_squared_mm2(stiffness, direction, x_axis=x_axis))


def movement(
    stiffness: ArrayLike,
    *,
    force: ArrayLike,
    through_mm: ArrayLike,
    crown_mm: ArrayLike,
    apex_mm: ArrayLike,
    rotation: ArrayLike | None = None,
) -> Movement:
    """Movement under the in-plane part of ``force`` (3,) whose line passes ``through_mm`` (3,).

    ``crown_mm`` and ``apex_mm`` (3,) are where movement is read; rows of ``rotation`` are x, distal y and z of the
    treatment frame. The line is taken in the sagittal plane of the centre. Raises BadValueError for a force without a
    part in that plane, NoAnswerError for a stiffness that holds nothing.
    """
    axes = np.eye(3) if rotation is None else np.asarray(rotation, dtype=np.float64)
    x, distal = axes[0], axes[1]
    f = np.asarray(force, dtype=np.float64)
    f = unit(f - (f @ x) * x, name="force in the sagittal plane")
    centre, c = _at_centre(stiffness, x)
    arm = _in_plane(np.asarray(through_mm) - centre, x)
    moment = float(x @ np.cross(arm, f))
    turn = float(x @ c[3:, 3:] @ x) * moment
    shift = _in_plane(c[:3, :3] @ f, x)
    return _described(centre, x, distal, shift=shift, turn=turn, offset=-moment, at=(crown_mm, apex_mm))


def movement_under(
    stiffness: ArrayLike,
    *,
    force: ArrayLike,
    moment: ArrayLike,
    about_mm: ArrayLike,
    crown_mm: ArrayLike,
    apex_mm: ArrayLike,
    rotation: ArrayLike | None = None,
) -> Movement:
    """Movement in the sagittal plane under a whole wrench: ``force`` and ``moment`` (3,) about ``about_mm`` (3,).

    From the full compliance, so that yaw, torque and lateral force count as well; ``stiffness`` is about the origin.
    ``offset_mm`` is that of the line with the same in-plane force and tipping moment. Raises as ``movement`` does.
    """
    axes = np.eye(3) if rotation is None else np.asarray(rotation, dtype=np.float64)
    x, distal = axes[0], axes[1]
    f, m = np.asarray(force, dtype=np.float64), np.asarray(moment, dtype=np.float64)
    size = float(np.linalg.norm(_in_plane(f, x)))
    if size < 1e-9:
        raise BadValueError(f"force {f.tolist()} N has no part in the sagittal plane; check the strap.")
    about = np.asarray(about_mm, dtype=np.float64)
    motion = compliance(stiffness_about(stiffness, about)) @ np.concatenate([f, m])
    shift, turn = _in_plane(motion[:3], x), float(motion[3:] @ x)
    return _described(
        about, x, distal, shift=shift, turn=turn, offset=-float(m @ x) / size, at=(crown_mm, apex_mm)
    )


def _described(
    centre: Array,
    x: Array,
    distal: Array,
    *,
    shift: Array,
    turn: float,
    offset: float,
    at: tuple[ArrayLike, ArrayLike],
) -> Movement:
    crown, apex = (shift + turn * np.cross(x, _in_plane(np.asarray(p) - centre, x)) for p in at)
    moved = float(np.linalg.norm(crown))
    largest = max(moved, float(np.linalg.norm(apex)))
    pole = centre + np.cross(x, shift) / turn if abs(turn) * 1e6 > float(np.linalg.norm(shift)) else None
    sense = math.copysign(1.0, float((crown - apex) @ distal))
    tip = sense * math.degrees(abs(turn)) / moved if moved > 1e-6 * largest else None
    bodily = tip is not None and abs(tip) < BODILY_DEG_PER_MM
    kind = "bodily" if bodily else "crown_distal_tip" if sense > 0 else "root_distal_tip"
    return Movement(kind, tip, pole, offset, float(crown @ distal) / largest, float(apex @ distal) / largest)


def _at_centre(stiffness: ArrayLike, x: Array) -> tuple[Array, Array]:
    """The sagittal centre (3,) and the compliance (6, 6) about it."""
    centre = sagittal_centre(stiffness, x_axis=x)
    return centre, compliance(stiffness_about(stiffness, centre))


def _in_plane(v: Array, x: Array) -> Array:
    return np.asarray(v - (v @ x) * x)
