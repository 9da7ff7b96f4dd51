"""The face-bow as two round wires joined at the front: the record before load (BowWire) and after it
(WornBow).

Frame: the treatment frame, LPS mm turned so that z is the occlusal plane's normal. Both wires run from the
patient's right to the left. Diameters are those of the wire itself; over the joint the pair moves as one
stiff body.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import SIDES, Side
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError

PartName = Literal["inner", "outer"]


@dataclass(frozen=True, eq=False)
class WirePart:
    """One round wire: stations ``points_mm`` (n, 3) in order from right to left and ``diameter_mm`` (n,) at
    each.

    Raises BadValueError for fewer than two stations, coincident neighbours or a diameter that is not
    positive.
    """

    points_mm: Array
    diameter_mm: Array
    part: PartName

    def __post_init__(self) -> None:
        points = frozen(self.points_mm, (None, 3), name=f"{self.part} wire points")
        n = len(points)
        object.__setattr__(self, "points_mm", points)
        given = np.broadcast_to(np.asarray(self.diameter_mm, dtype=np.float64), (n,))
        object.__setattr__(self, "diameter_mm", frozen(given, (n,), name=f"{self.part} wire diameter"))
        if n < 2 or bool((self.step_mm <= 1e-9).any()):
            raise BadValueError(
                f"{self.part} wire needs two or more stations, no two alike in a row; got {n}."
            )
        if bool((self.diameter_mm <= 0.0).any()):
            raise BadValueError(
                f"{self.part} wire diameter must be positive; got {self.diameter_mm.min()} mm."
            )

    @classmethod
    def uniform(cls, points_mm: ArrayLike, diameter_mm: float, *, part: PartName) -> WirePart:
        """A wire of one diameter."""
        points = np.asarray(points_mm, dtype=np.float64)
        return cls(points, np.full(len(points), diameter_mm), part)

    @cached_property
    def step_mm(self) -> Array:
        """Lengths (n - 1,) between neighbouring stations."""
        return np.asarray(np.linalg.norm(np.diff(self.points_mm, axis=0), axis=1))

    @cached_property
    def s_mm(self) -> Array:
        """Arc length (n,) of every station from the right end."""
        return np.concatenate([[0.0], np.cumsum(self.step_mm)])

    @property
    def length_mm(self) -> float:
        """Length of the whole wire."""
        return float(self.s_mm[-1])

    def at(self, s_mm: ArrayLike) -> Array:
        """Points (..., 3) at arc lengths ``s_mm``, straight between stations, ends held."""
        s = np.asarray(s_mm, dtype=np.float64)
        return np.stack([np.interp(s, self.s_mm, self.points_mm[:, k]) for k in range(3)], axis=-1)

    def diameter_at(self, s_mm: ArrayLike) -> Array:
        """Diameters (...) at arc lengths ``s_mm``."""
        return np.asarray(np.interp(np.asarray(s_mm, dtype=np.float64), self.s_mm, self.diameter_mm))

    def tangent_at(self, s_mm: ArrayLike) -> Array:
        """Unit tangents (..., 3), right to left, by a chord over the two stations around ``s_mm``."""
        s = np.clip(np.asarray(s_mm, dtype=np.float64), 0.0, self.length_mm)
        k = np.clip(np.searchsorted(self.s_mm, s, side="right") - 1, 0, len(self.step_mm) - 1)
        return np.asarray(np.diff(self.points_mm, axis=0)[k] / self.step_mm[k][..., None])

    def resampled(self, *, stations: int) -> WirePart:
        """The wire at ``stations`` places spaced evenly along it."""
        s = np.linspace(0.0, self.length_mm, stations)
        return WirePart(self.at(s), self.diameter_at(s), self.part)


@dataclass(frozen=True)
class JointRegion:
    """Where both wires are held together at the front (solder or sheath), in arc length of each wire.

    ``diameter_mm`` is that of a round bar as stiff as the pair in its sheath.
    """

    inner_from_mm: float
    inner_to_mm: float
    outer_from_mm: float
    outer_to_mm: float
    diameter_mm: float

    def __post_init__(self) -> None:
        if not (self.inner_from_mm < self.inner_to_mm and self.outer_from_mm < self.outer_to_mm):
            raise BadValueError("joint must have a length on both wires; give its start before its end.")
        if self.diameter_mm <= 0.0:
            raise BadValueError(f"joint diameter must be positive; got {self.diameter_mm} mm.")

    @property
    def inner_middle_mm(self) -> float:
        """Arc length of the joint's middle on the inner bow."""
        return 0.5 * (self.inner_from_mm + self.inner_to_mm)

    @property
    def outer_middle_mm(self) -> float:
        """Arc length of the joint's middle on the outer bow."""
        return 0.5 * (self.outer_from_mm + self.outer_to_mm)


@dataclass(frozen=True)
class StockMaterial:
    """Elastic constants of the wire. Round wire has one bending stiffness, E pi d^4 / 64.

    Default E: heavily drawn 18-8 steel lies about 20 % below the 193-200 GPa of bulk steel (Goldberg AJ,
    Vanderby R, Burstone CJ 1977 J Dent Res 56:1227-1231). nu 0.3 and the 0.2 % proof stress 1400 MPa: from
    memory.
    """

    e_gpa: float = 160.0
    nu: float = 0.3
    proof_mpa: float = 1400.0

    def __post_init__(self) -> None:
        if not (self.e_gpa > 0.0 and self.proof_mpa > 0.0 and -1.0 < self.nu < 0.5):
            raise BadValueError(
                f"material needs E and proof stress above zero and nu in (-1, 0.5); got E {self.e_gpa} GPa, "
                f"{self.proof_mpa} MPa, nu {self.nu}."
            )

    @property
    def e_mpa(self) -> float:
        """Young's modulus in N/mm2."""
        return 1e3 * self.e_gpa

    @property
    def g_mpa(self) -> float:
        """Shear modulus in N/mm2."""
        return self.e_mpa / (2.0 * (1.0 + self.nu))


@dataclass(frozen=True, eq=False)
class Tube:
    """A headgear tube on the molar: its two ends (3,) on its axis and its bore in mm."""

    mesial_mm: Array
    distal_mm: Array
    bore_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "mesial_mm", frozen(self.mesial_mm, (3,), name="tube mesial end"))
        object.__setattr__(self, "distal_mm", frozen(self.distal_mm, (3,), name="tube distal end"))
        if not (np.isfinite(self.bore_mm) and self.bore_mm > 0.0):
            raise BadValueError(f"tube bore must be positive; got {self.bore_mm} mm.")
        if self.length_mm < 1.0:
            raise BadValueError(
                f"tube must be at least 1 mm long; got {self.length_mm:.3f} mm: check its two ends."
            )

    @property
    def length_mm(self) -> float:
        """Distance between the ends."""
        return float(np.linalg.norm(self.distal_mm - self.mesial_mm))

    @property
    def axis(self) -> Array:
        """Unit vector (3,) from the mesial to the distal end."""
        return (self.distal_mm - self.mesial_mm) / self.length_mm

    @property
    def middle_mm(self) -> Array:
        """Middle (3,) of the axis."""
        return 0.5 * (self.mesial_mm + self.distal_mm)


@dataclass(frozen=True, eq=False)
class BowWire:
    """A face-bow before load.

    ``inner`` runs from the distal end of the right tube to that of the left; ``outer`` from the right hook
    over the front to the left hook. ``stop_mm``: arc length on ``inner`` of the stop that bears on the
    mesial end of each tube. ``bend_place_mm``: default place of the bend on each side, along the outer wire
    from the joint's middle.
    """

    inner: WirePart
    outer: WirePart
    joint: JointRegion
    material: StockMaterial
    tubes: Mapping[Side, Tube]
    stop_mm: Mapping[Side, float]
    bend_place_mm: Mapping[Side, float]

    def __post_init__(self) -> None:
        for named, what in (
            (self.tubes, "tubes"),
            (self.stop_mm, "stops"),
            (self.bend_place_mm, "bend places"),
        ):
            if set(named) != set(SIDES):
                raise BadValueError(f'{what} must be given for "right" and "left"; got {sorted(named)}.')
        for side in SIDES:
            end = self.inner.diameter_mm[0 if side == "right" else -1]
            if end > self.tubes[side].bore_mm:
                raise BadValueError(
                    f"{side} inner bow is {end:.3f} mm thick but the bore is {self.tubes[side].bore_mm:.3f} "
                    "mm; the wire must be thinner than the tube: choose thinner stock or a wider tube."
                )
        if self.joint.outer_to_mm > self.outer.length_mm or self.joint.inner_to_mm > self.inner.length_mm:
            raise BadValueError("joint must lie on both wires; it ends beyond one of them: shorten it.")

    @property
    def hook_mm(self) -> dict[Side, Array]:
        """Hook (3,) on each side: the ends of the outer wire."""
        return {"right": self.outer.points_mm[0], "left": self.outer.points_mm[-1]}

    def arm_length_mm(self, side: Side) -> float:
        """Length along the outer wire from the joint's middle to the hook of ``side``."""
        middle = self.joint.outer_middle_mm
        return middle if side == "right" else self.outer.length_mm - middle

    def outer_s_mm(self, side: Side, from_middle_mm: float) -> float:
        """Arc length on ``outer`` of the place ``from_middle_mm`` from the joint's middle toward
        ``side``'s hook."""
        step = from_middle_mm if side == "left" else -from_middle_mm
        return self.joint.outer_middle_mm + step

    def play_mm(self, side: Side) -> float:
        """Bore minus wire diameter of one tube."""
        end = self.inner.diameter_mm[0 if side == "right" else -1]
        return float(self.tubes[side].bore_mm - end)

    def moved(self, rotation: ArrayLike, shift_mm: ArrayLike = (0.0, 0.0, 0.0)) -> BowWire:
        """The bow turned and shifted, ``rotation @ p + shift``."""
        r, t = np.asarray(rotation, dtype=np.float64), np.asarray(shift_mm, dtype=np.float64)

        def move(p: Array) -> Array:
            return p @ r.T + t

        tubes = {s: Tube(move(k.mesial_mm), move(k.distal_mm), k.bore_mm) for s, k in self.tubes.items()}
        inner = replace(self.inner, points_mm=move(self.inner.points_mm))
        outer = replace(self.outer, points_mm=move(self.outer.points_mm))
        return replace(self, inner=inner, outer=outer, tubes=tubes)


@dataclass(frozen=True, eq=False)
class TubeSupport:
    """How the molar that carries one tube stands.

    ``about_mm`` (3,): the point its wrench is reported about (the target). ``stiffness`` (6, 6) of its
    ligament about that point, [f; m] = K [u; theta] in N and mm, or None for a molar that does not move.
    """

    about_mm: Array
    stiffness: Array | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "about_mm", frozen(self.about_mm, (3,), name="about_mm"))
        if self.stiffness is not None:
            object.__setattr__(self, "stiffness", frozen(self.stiffness, (6, 6), name="ligament stiffness"))


@dataclass(frozen=True, eq=False)
class WornBow:
    """A face-bow under load: both wires as worn, what each strap pulls and what each molar feels.

    ``force_n`` and ``moment_n_mm`` (3,) act on the molar of each side, about ``about_mm``.
    ``strap_direction`` and ``strap_force_n`` are those of the resultant pull on the worn hook.
    ``stress_mpa`` holds the largest bending and twisting stress (von Mises) at each station of each wire;
    it is zero throughout for a rigid bow. ``near``: a wear that starts from this one, quicker for a bow and
    pulls that differ little from it; its answers are those of the wear itself.
    """

    inner: WirePart
    outer: WirePart
    hook_mm: Mapping[Side, Array]
    strap_force_n: Mapping[Side, float]
    strap_direction: Mapping[Side, Array]
    about_mm: Mapping[Side, Array]
    force_n: Mapping[Side, Array]
    moment_n_mm: Mapping[Side, Array]
    stress_mpa: Mapping[PartName, Array]
    converged: bool
    residual: float
    notes: tuple[str, ...] = ()
    near: Wear | None = None

    def moved(self, rotation: ArrayLike, shift_mm: ArrayLike = (0.0, 0.0, 0.0)) -> WornBow:
        """The worn bow turned (a proper rotation) and shifted, ``rotation @ p + shift``; forces turn with
        it."""
        r, t = np.asarray(rotation, dtype=np.float64), np.asarray(shift_mm, dtype=np.float64)

        def places(given: Mapping[Side, Array]) -> dict[Side, Array]:
            return {s: r @ v + t for s, v in given.items()}

        def vectors(given: Mapping[Side, Array]) -> dict[Side, Array]:
            return {s: r @ v for s, v in given.items()}

        return replace(
            self,
            inner=replace(self.inner, points_mm=self.inner.points_mm @ r.T + t),
            outer=replace(self.outer, points_mm=self.outer.points_mm @ r.T + t),
            hook_mm=places(self.hook_mm),
            about_mm=places(self.about_mm),
            strap_direction=vectors(self.strap_direction),
            force_n=vectors(self.force_n),
            moment_n_mm=vectors(self.moment_n_mm),
            near=None,
        )

    @property
    def max_stress_mpa(self) -> float:
        """Largest stress anywhere."""
        return float(max(np.max(v) for v in self.stress_mpa.values()))

    @property
    def max_stress_place(self) -> tuple[PartName, float]:
        """Wire and arc length (mm) of the largest stress."""
        part: PartName = max(self.stress_mpa, key=lambda p: float(np.max(self.stress_mpa[p])))
        wire = self.inner if part == "inner" else self.outer
        return part, float(wire.s_mm[int(np.argmax(self.stress_mpa[part]))])


Wear = Callable[[BowWire, Mapping[Side, StrapPull], Mapping[Side, TubeSupport]], WornBow]
