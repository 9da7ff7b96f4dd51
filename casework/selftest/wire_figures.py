"""The wire: cantilevers, curved beams, a U-bow, large bending, and springback under the plier."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from casework.selftest.figure import Figure
from mechanics.bow.wire import StockMaterial
from mechanics.making.springback import kept_fraction, moment_ratio
from mechanics.rod.model import RodModel
from mechanics.rod.newton import equilibrium
from mechanics.rod.problem import RodProblem
from mesh_tools.arrays import Array

_CANTILEVER = "Euler-Bernoulli: F L^3 / 3 E I"
_TIMOSHENKO = "Timoshenko's quarter ring in a published set of verification problems: 2.648 in"
_BATHE = "Bathe KJ, Bolourchi S 1979 Int J Numer Methods Eng 14:961-986 (from memory)"
_ELASTICA = "Mattiasson K 1981 Int J Numer Methods Eng 17:145-153 (from memory)"
_CASTIGLIANO = "Castigliano: (2F/EI) [L^3/3 + R (pi L^2/2 + 2 L R + pi R^2/4)]"
_PLASTIC = "elastic-plastic bending of a round wire, by quadrature"


def wire_figures() -> Iterator[Figure]:
    """Every figure of the wire."""
    yield _cantilever()
    yield _elastica()
    yield _quarter_ring()
    yield from _curved_cantilever()
    yield _u_bow()
    for s, ratio in ((1.0, 0.58905), (0.7, 0.77425), (0.5, 0.87984), (0.1, 0.99501)):
        yield Figure(
            f"moment over plastic moment at yield ratio {s:g}",
            _PLASTIC,
            "",
            ratio,
            float(moment_ratio(s)),
            1e-5,
        )
    steel = StockMaterial(e_gpa=193.0, proof_mpa=1400.0)
    for radius, kept in ((3.0, 0.936), (10.0, 0.788), (40.0, 0.248)):
        found = float(kept_fraction(radius, diameter_mm=1.15, material=steel))
        yield Figure(f"bend that stays of a {radius:g} mm radius", _PLASTIC, "", kept, found, 1e-3)


def _moved(model: RodModel, load: Array, *, clamped: int = 0) -> Array:
    """Places (n, 3) of the nodes under dead loads (n, 6)."""
    found = equilibrium(RodProblem.clamped(model, [clamped], dead=load), model.free_state())
    return np.asarray(model.node_mm + found.state.move_mm)


def _at_end(model: RodModel, load: list[float]) -> Array:
    dead = np.zeros((len(model.node_mm), 6))
    dead[-1] = load
    return dead


def _straight(count: int, length: float) -> RodModel:
    points = np.zeros((count + 1, 3))
    points[:, 0] = np.linspace(0.0, length, count + 1)
    return RodModel.chain(points, 1.0, e_mpa=2e5, g_mpa=8e4)


def _arc(count: int, radius: float, diameter: float, *, e: float, g: float, angle: float) -> RodModel:
    """An arc clamped at its start; its nodes lie a little outside, so that the polygon has the arc's length."""
    turn, half = np.linspace(0.0, angle, count + 1), 0.5 * angle / count
    r = radius * half / np.sin(half)
    return RodModel.chain(
        np.stack([r * np.sin(turn), r * (1 - np.cos(turn)), 0 * turn], 1), diameter, e_mpa=e, g_mpa=g
    )


def _cantilever() -> Figure:
    model, force = _straight(4, 50.0), 1e-4
    wanted = force * 50.0**3 / (3.0 * model.bend[0, 1]) * 1e6
    found = _moved(model, _at_end(model, [0, force, 0, 0, 0, 0]))[-1, 1] * 1e6
    return Figure(
        "tip of a cantilever, small load",
        _CANTILEVER,
        "nm",
        float(wanted),
        float(found),
        1e-4 * float(wanted),
    )


def _elastica() -> Figure:
    model = _straight(60, 100.0)
    end = _moved(model, _at_end(model, [0, 0, -model.bend[0, 1] / 100.0**2, 0, 0, 0]))[-1]
    return Figure(
        "drop of a cantilever at P L^2 = E I, of its length",
        _ELASTICA,
        "L",
        0.30172,
        float(-end[2] / 100.0),
        2e-4,
    )


def _quarter_ring() -> Figure:
    model = _arc(64, 100.0, 2.0, e=30e6, g=30e6 / 2.6, angle=np.pi / 2)
    end = _moved(model, _at_end(model, [0, 0, -50.0, 0, 0, 0]))[-1]
    return Figure(
        "quarter ring under a load across its plane", _TIMOSHENKO, "in", 2.648, float(-end[2]), 0.004
    )


def _curved_cantilever() -> Iterator[Figure]:
    model = _arc(64, 100.0, (64.0 / (12.0 * np.pi)) ** 0.25, e=1e7, g=5e6, angle=np.pi / 4)
    end = _moved(model, _at_end(model, [0, 0, 600.0, 0, 0, 0]))[-1]
    for name, wanted, found in (("x", 15.7, end[1]), ("y", 47.2, end[0]), ("z", 53.4, end[2])):
        yield Figure(f"curved cantilever, large bending, tip {name}", _BATHE, "", wanted, float(found), 0.12)


def _u_bow() -> Figure:
    r, leg, count = 26.0, 25.0, 80
    turn = np.linspace(np.pi, 2 * np.pi, count + 1)
    out = r * (0.5 * np.pi / count) / np.sin(0.5 * np.pi / count)
    arc = np.stack([out * np.cos(turn), out * np.sin(turn), 0 * turn], 1)
    t = np.linspace(0.0, leg, 21)
    right = np.stack([np.full(21, arc[0, 0]), t[::-1], 0 * t], 1)[:-1]
    left = np.stack([np.full(21, arc[-1, 0]), t, 0 * t], 1)[1:]
    model = RodModel.chain(np.concatenate([right, arc, left]), 1.15, e_mpa=193e3, g_mpa=75e3)
    dead = np.zeros((len(model.node_mm), 6))
    dead[-1, 0], dead[0, 0] = 1e-3, -1e-3
    moved = _moved(model, dead, clamped=len(model.node_mm) // 2) - model.node_mm
    return Figure("stiffness of an inner bow in opening", _CASTIGLIANO, "N/mm", 0.106,
                  float(1e-3 / (moved[-1, 0] - moved[0, 0])), 0.001)  # fmt: skip
