"""A strap as a taut band round neck or head: what the rest of the program calls.

    taut_band(skin, hooks_mm, *, band, width_mm, tension_n, back_mm=None) -> StrapPath
        The band laid once: where it runs, leaves the skin and presses.
    band_line(skin, hooks_mm, *, band, width_mm, back_mm=None) -> BandLine
        The band that follows the hooks: for a bend solve, ``BandLine.straps`` gives the two pulls.
    StrapPull((Strap(force_n, band=BandEnd(line, side)),))
        One such pull; it moves with its hook.

``hooks_mm``: "right" and "left", (3,) each, in the skin's own frame with z up and y back (LPS or the treatment frame).
``band``: "neck" (round the nape) or "head" (over the back of the head). ``back_mm``: where it crosses the back; left
out, a neck strap takes the shortest path of all, as without friction, and a head cap lies along the usual high pull.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import SIDES, Side
from mechanics.strap.back import crown_along, nape_of
from mechanics.strap.bed import Bed, bed_of
from mechanics.strap.checks import StrapOnEarError, check_hooks, check_skin_under, ears_under, told_of
from mechanics.strap.direction import HIGH_PULL_DEG
from mechanics.strap.fan import FanFrame, skin_fan
from mechanics.strap.held import grip_needed, held_leaving, held_taut
from mechanics.strap.path import BandName, StrapPath
from mechanics.strap.pressure import pressures_kpa
from mechanics.strap.tauten import StrapSlipsError, Taut, end_slopes, tautened
from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError, NoAnswerError
from mesh_tools.surface import Surface

WIDTH_MM = 22.0
"""Width of a neck strap's pad, 20-25 mm (common practice, no source)."""
HALF_ANGLE = np.radians(165.0)
REACH_MM: dict[BandName, float] = {"neck": 45.0, "head": 30.0}
"""How far above and below its first plane a strap is followed."""
CAP_TRIES_DEG = (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0)
_REMEMBERED = 6


@dataclass(frozen=True, eq=False)
class Leaving:
    """Where a band leaves the skin, by side (3,), and how that place moves with each hook: ``slopes[side][hook]``
    (3, 3)."""

    points_mm: Mapping[Side, Array]
    slopes: Mapping[Side, Mapping[Side, Array]]


@dataclass(frozen=True, eq=False)
class BandLine:
    """A band that follows its hooks over one skin. ``back_mm``: where it is held at the back, None for a free one;
    ``hooks_mm``: where the hooks stood when it was laid; ``told``: how its place was chosen."""

    band: BandName
    bed: Bed
    hooks_mm: Mapping[Side, Array]
    back_mm: Array | None
    told: tuple[str, ...] = ()
    _laid: dict[bytes, Leaving] = field(default_factory=dict, repr=False)
    _last: list[Taut] = field(default_factory=list, repr=False)

    def leaving(self, hooks_mm: Mapping[Side, Array]) -> Leaving:
        """Where the band leaves the skin with its hooks at ``hooks_mm``; remembered for the last few places."""
        ends = self.ends(hooks_mm)
        key = ends.tobytes()
        if key not in self._laid:
            while len(self._laid) >= _REMEMBERED:
                del self._laid[next(iter(self._laid))]
            self._laid[key] = self._found(ends)
        return self._laid[key]

    def path(self, hooks_mm: Mapping[Side, Array], *, tension_n: float | Mapping[Side, float]) -> StrapPath:
        """The whole path with what it does to the skin.

        Raises BadValueError for a hook inside the skin, for skin that is missing or folded (an ear) under the strap.
        """
        ends = self.ends(hooks_mm)
        check_hooks(self.bed, ends)
        taut = self._taut(ends, from_last=False)
        check_skin_under(self.bed, taut, band=self.band)
        tension = tension_n if isinstance(tension_n, Mapping) else dict.fromkeys(SIDES, tension_n)
        path = np.concatenate([ends[:1], taut.points, ends[1:]])
        world = self.bed.fan.frame.outward(path)
        pressure = pressures_kpa(path, taut.press, tension_n=tension, width_mm=self.bed.width_mm)
        held = self.back_mm is not None
        return StrapPath(
            band=self.band,
            points_mm=world,
            on_skin=np.array([False, *np.ones(len(taut.k), dtype=np.bool_), False]),
            leaves_mm={"right": world[1], "left": world[-2]},
            length_mm=float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum()),
            pressure_kpa=pressure,
            width_mm=self.bed.width_mm,
            grip=grip_needed(self.bed, ends, taut) if held else 0.0,
            wrap_rad=float(taut.press.sum()),
            told=(*self.told, *told_of(self.bed, ends, taut, band=self.band)),
        )

    def also_told(self, told: tuple[str, ...]) -> BandLine:
        """This band with ``told`` before what it tells itself."""
        return replace(self, told=(*told, *self.told))

    def ends(self, hooks_mm: Mapping[Side, Array]) -> Array:
        """Both hooks (2, 3), right then left, in the axes of the band's fan."""
        return self.bed.fan.frame.inward(np.array([hooks_mm["right"], hooks_mm["left"]]))

    def _back(self) -> Array | None:
        return None if self.back_mm is None else self.bed.fan.frame.inward(self.back_mm)

    def _taut(self, ends: Array, *, from_last: bool) -> Taut:
        back = self._back()
        if back is not None:
            return held_taut(self.bed, ends, back)
        try:
            if from_last and self._last:
                try:
                    return tautened(self.bed, ends, start=self._last[0])
                except NoAnswerError:
                    pass
            return tautened(self.bed, ends)
        except StrapSlipsError as err:
            where = "nape_mm" if self.band == "neck" else "crown_mm"
            raise StrapSlipsError(
                f"the {self.band} strap does not stay where it lies: without friction it slides up or down, since "
                f"nothing in the skin's shape holds it; give {where}, the place where it is held at the back."
            ) from err

    def _found(self, ends: Array) -> Leaving:
        back = self._back()
        if back is not None:
            points, moves = held_leaving(self.bed, ends, back)
        else:
            taut = self._taut(ends, from_last=True)
            self._last[:] = [taut]
            points, moves = taut.points[[0, -1]], end_slopes(self.bed, ends, taut)
        if (points[:, 1] <= ends[:, 1]).any():
            raise BadValueError(
                f"the {self.band} strap touches nothing behind its hooks; shorten the outer arms or move it back."
            )
        frame = self.bed.fan.frame
        world = frame.outward(points)
        turned = np.einsum("ia,pihj,jb->pahb", frame.axes, moves, frame.axes)
        slopes = {s: {h: turned[i, :, j] for j, h in enumerate(SIDES)} for i, s in enumerate(SIDES)}
        return Leaving({s: world[i] for i, s in enumerate(SIDES)}, slopes)


def band_line(
    skin: Surface,
    hooks_mm: Mapping[Side, ArrayLike],
    *,
    band: BandName,
    width_mm: float = WIDTH_MM,
    back_mm: ArrayLike | None = None,
) -> BandLine:
    """A band laid round ``skin`` from hook to hook, ready to follow them.

    Raises BadValueError for a width outside 5-60 mm, a skin that does not reach round the back, hooks inside it.
    """
    if not 5.0 <= width_mm <= 60.0:
        raise BadValueError(f"strap width must lie between 5 and 60 mm; got {width_mm:g}.")
    hooks = {s: frozen(hooks_mm[s], (3,), name=f"{s} hook") for s in SIDES}
    held = None if back_mm is None else frozen(back_mm, (3,), name="place of the strap at the back")
    if band == "head" and held is None:
        return _usual_cap(skin, hooks, width_mm)
    back = nape_of(skin, hooks) if held is None else held
    return _line_over(skin, hooks, back, band=band, width_mm=width_mm, held=held)


def _line_over(
    skin: Surface,
    hooks: Mapping[Side, Array],
    back: Array,
    *,
    band: BandName,
    width_mm: float,
    held: Array | None,
) -> BandLine:
    frame = FanFrame.through(hooks, back)
    half_height = REACH_MM[band] + 0.5 * width_mm
    fan = skin_fan(skin, frame, half_angle=float(HALF_ANGLE), half_height_mm=half_height)
    line = BandLine(band, bed_of(fan, width_mm=width_mm), hooks, held)
    check_hooks(line.bed, line.ends(hooks))
    return line


def _usual_cap(skin: Surface, hooks: Mapping[Side, Array], width_mm: float) -> BandLine:
    """A head cap along the usual high pull, or the least steep way above it that passes the ears.

    Raises StrapOnEarError when none does.
    """
    for steeper in CAP_TRIES_DEG:
        angle = HIGH_PULL_DEG + steeper
        back = crown_along(skin, hooks, angle_deg=angle)
        line = _line_over(skin, hooks, back, band="head", width_mm=width_mm, held=back)
        if not ears_under(line.bed, held_taut(line.bed, line.ends(hooks), line.bed.fan.frame.inward(back))):
            way = "the usual high pull" if steeper == 0.0 else "the least steep way that passes the ears"
            told = f"head strap: crown_mm is not given; laid {angle:g} degrees over the plane of the hooks, {way}."
            return replace(line, told=(told,))
    raise StrapOnEarError(
        "the head strap would lie on an ear however steep; give crown_mm, the place where the cap crosses the back of "
        "the head."
    )


def taut_band(
    skin: Surface,
    hooks_mm: Mapping[Side, ArrayLike],
    *,
    band: BandName,
    tension_n: float | Mapping[Side, float],
    width_mm: float = WIDTH_MM,
    back_mm: ArrayLike | None = None,
) -> StrapPath:
    """The band laid once from hook to hook: ``band_line`` and its path."""
    line = band_line(skin, hooks_mm, band=band, width_mm=width_mm, back_mm=back_mm)
    return line.path(line.hooks_mm, tension_n=tension_n)
