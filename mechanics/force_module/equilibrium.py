"""Modules, straps and the flexed bow in equilibrium: the hooks give way, which shortens the modules again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from mechanics.bow.wire import BowWire, TubeSupport, Wear, WornBow
from mechanics.force_module.curve import ForceCurve
from mechanics.force_module.lay import Lain, StrapLay
from mechanics.sides import SIDES, Side
from mechanics.strap.path import BandName
from mechanics.strap.pull import Strap, StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, BowtrueError, NoAnswerError

Grip = Literal["free", "held"]
TOLERANCE_N = 1e-3
_MOST_N = 60.0
_FIRST_N = 3.0
_GIVE_MM_PER_N = 2.0  # what a bow yields along its strap, roughly: only the search's first slope
_LEAVES_MM = 0.01
_STEPS = 25
_SHORTER = 5


@dataclass(frozen=True, eq=False)
class Band:
    """One strap with a module at each hook. ``slack_mm`` per side: from the hook to the nape's mark (or the cap) along
    the strap with the modules at rest, at the chosen hole. ``grip``: "free" to slide round the neck, so that both ends
    carry one tension, or "held" by the skin or the cap, each side for itself."""

    name: BandName
    curve: ForceCurve
    lay: StrapLay
    slack_mm: Mapping[Side, float]
    grip: Grip = "free"

    def __post_init__(self) -> None:
        for side in SIDES:
            if not (np.isfinite(self.slack_mm[side]) and self.slack_mm[side] > 0.0):
                raise BadValueError(
                    f"{self.name} strap at rest must have a length on the {side}; got {self.slack_mm[side]:.1f} mm: "
                    "check module.slack_mm and the hole."
                )

    def extension_mm(self, half_mm: Mapping[Side, float]) -> dict[Side, float]:
        """Extension of each module when the halves of the strap measure ``half_mm``; negative when slack."""
        own = {s: half_mm[s] - self.slack_mm[s] for s in SIDES}
        if self.grip == "held":
            return own
        shared = 0.5 * (own["right"] + own["left"])
        return {"right": shared, "left": shared}


@dataclass(frozen=True, eq=False)
class BandState:
    """One band in equilibrium: ``tension_n`` and ``extension_mm`` per side and how the strap lies."""

    band: Band
    tension_n: Mapping[Side, float]
    extension_mm: Mapping[Side, float]
    leaves_mm: Mapping[Side, Array]
    length_mm: float

    def beyond(self, side: Side) -> bool:
        """Whether the table ends before this extension: the tension is then not known."""
        return self.band.curve.beyond(self.extension_mm[side])

    def releases(self, side: Side) -> bool:
        """Whether the module lets go at this extension."""
        return self.band.curve.releases(self.extension_mm[side])


@dataclass(frozen=True, eq=False)
class ModuleState:
    """Bow, straps and modules in equilibrium; ``residual_n``: largest miss of any module's curve.

    ``slopes`` (2 bands, 2 bands): what the search learnt of how the miss changes with the tensions.
    """

    bands: tuple[BandState, ...]
    straps: Mapping[Side, StrapPull]
    worn: WornBow
    residual_n: float
    evaluations: int
    slopes: Array

    def tension_n(self, side: Side) -> float:
        """Sum of the tensions on one hook."""
        return float(sum(b.tension_n[side] for b in self.bands))


@dataclass(frozen=True, eq=False)
class _Set:
    """What stays the same through a search. ``also``: straps of constant force beside the bands."""

    bow: BowWire
    bands: Sequence[Band]
    supports: Mapping[Side, TubeSupport]
    wear: Wear
    also: Mapping[Side, tuple[Strap, ...]]


@dataclass(frozen=True, eq=False)
class _Tried:
    """The bow worn under ``tension`` (2 bands,): extensions (bands, 2), what the modules would pull less the tensions
    (2 bands,), the straps, and how far the places where they leave the skin lag behind the hooks, mm."""

    tension: Array
    extension: Array
    miss: Array
    straps: dict[Side, StrapPull]
    worn: WornBow
    lain: tuple[Lain, ...]
    lag_mm: float

    @property
    def settled(self) -> bool:
        """Whether the modules' curves and the strap's way both hold."""
        return float(np.abs(self.miss).max()) <= TOLERANCE_N and self.lag_mm <= _LEAVES_MM


def module_equilibrium(
    bow: BowWire,
    bands: Sequence[Band],
    supports: Mapping[Side, TubeSupport],
    *,
    wear: Wear,
    also: Mapping[Side, tuple[Strap, ...]] | None = None,
    near: ModuleState | None = None,
) -> ModuleState:
    """The state in which each module's tension is that of its extension and the bow is worn under those tensions.

    Broyden's method on the tensions (Broyden CG 1965 Math Comp 19:577-593, from memory); in every trial each strap runs
    to where it leaves the skin for the hooks of the trial before, until that place stays within 0.01 mm. ``also``:
    straps of constant force on the same hooks. ``near``: a state of the same bow and bands, at another hole or posture,
    to start from. Raises NoAnswerError when 1e-3 N is not reached, and what bow or straps refuse at the start.
    """
    given = _Set(bow, bands, supports, wear, dict.fromkeys(SIDES, ()) if also is None else also)
    lain = tuple(b.lay(bow.hook_mm if near is None else near.worn.hook_mm) for b in bands)
    if near is None:
        tension, slopes, last = *_first(bands, lain), None
    else:
        tension, slopes, last = _stacked([b.tension_n for b in near.bands]).ravel(), near.slopes, near.worn
    here, count = _tried(given, tension, lain, last), 1
    for _ in range(_STEPS):
        if here.settled:
            return _state(given, here, count, slopes)
        there, tries = _stepped(given, here, np.asarray(np.linalg.solve(slopes, -here.miss)))
        step, count = there.tension - here.tension, count + tries
        if float(step @ step) > 1e-16:
            slopes = slopes + np.outer(there.miss - here.miss - slopes @ step, step) / float(step @ step)
        here = there
    if float(here.tension.max()) >= _MOST_N:
        raise NoAnswerError(
            f"the module would pull with more than {_MOST_N:.0f} N; check the module's table and the strap's length."
        )
    raise NoAnswerError(
        f"module and bow find no equilibrium: {np.abs(here.miss).max():.3f} N are left after {count} trials; check the "
        "module's table and the strap's length."
    )


def _tried(given: _Set, tension: Array, lain: Sequence[Lain], last: WornBow | None) -> _Tried:
    rows = tension.reshape(len(given.bands), 2)
    straps = _straps(given, rows, lain)
    wear = given.wear if last is None or last.near is None else last.near
    worn = wear(given.bow, straps, given.supports)
    now = tuple(b.lay(worn.hook_mm) for b in given.bands)
    lag = [
        np.linalg.norm(n.leaves_mm[s] - o.leaves_mm[s]) for n, o in zip(now, lain, strict=True) for s in SIDES
    ]
    extension = _stacked([b.extension_mm(way.half_mm) for b, way in zip(given.bands, now, strict=True)])
    pulls = np.array([b.curve.force_at(e) for b, e in zip(given.bands, extension, strict=True)])
    return _Tried(tension, extension, (pulls - rows).ravel(), straps, worn, now, float(max(lag)))


def _stepped(given: _Set, here: _Tried, step: Array) -> tuple[_Tried, int]:
    """The trial one step on, and the tries it took: a step that bow or strap refuses is halved."""
    refused: BowtrueError | None = None
    for k in range(_SHORTER):
        tension = np.clip(here.tension + 0.5**k * step, 0.0, _MOST_N)
        try:
            return _tried(given, tension, here.lain, here.worn), k + 1
        except BowtrueError as err:
            refused = err
    assert refused is not None
    raise refused


def _straps(given: _Set, rows: Array, lain: Sequence[Lain]) -> dict[Side, StrapPull]:
    """The pull on each hook under tensions ``rows`` (bands, 2)."""
    out: dict[Side, StrapPull] = {}
    for k, s in enumerate(SIDES):
        own = [Strap(float(t[k]), toward_mm=way.leaves_mm[s]) for t, way in zip(rows, lain, strict=True)]
        out[s] = StrapPull((*own, *given.also[s]))
    return out


def _first(bands: Sequence[Band], lain: Sequence[Lain]) -> tuple[Array, Array]:
    """Tensions (2 bands,) to start from, a part of what the unloaded hooks would draw and not above 3 N, and slopes
    (2 bands, 2 bands) for a bow that yields 2 mm per N along its strap."""
    size = 2 * len(bands)
    slopes, tension = np.zeros((size, size)), np.zeros(size)
    for k, (band, way) in enumerate(zip(bands, lain, strict=True)):
        e = band.extension_mm(way.half_mm)
        tension[2 * k : 2 * k + 2] = [min(0.6 * float(band.curve.force_at(e[s])), _FIRST_N) for s in SIDES]
        rates = np.array([band.curve.rate_at(0.6 * max(e[s], 0.0)) for s in SIDES])
        share = np.full((2, 2), 0.5) if band.grip == "free" else np.eye(2)
        slopes[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] = -_GIVE_MM_PER_N * rates[:, None] * share
    return tension, slopes - np.eye(size)


def _state(given: _Set, here: _Tried, count: int, slopes: Array) -> ModuleState:
    bands = given.bands
    rows = here.tension.reshape(len(bands), 2)
    states = tuple(
        BandState(band, _by_side(t), _by_side(e), way.leaves_mm, way.length_mm)
        for band, t, e, way in zip(bands, rows, here.extension, here.lain, strict=True)
    )
    return ModuleState(states, here.straps, here.worn, float(np.abs(here.miss).max()), count, slopes)


def _stacked(rows: Sequence[Mapping[Side, float]]) -> Array:
    return np.array([[row[s] for s in SIDES] for row in rows], dtype=np.float64)


def _by_side(pair: Array) -> dict[Side, float]:
    return {s: float(v) for s, v in zip(SIDES, pair, strict=True)}
