"""The rod against closed forms, published figures and the statics of a stiff bow; source beside each row."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ellipe, ellipeinc, ellipk, ellipkinc

from mechanics.bow.wire import BowWire, JointRegion, StockMaterial, Tube, TubeSupport, WirePart
from mechanics.rod import elastic_wear
from mechanics.rod.model import RodModel
from mechanics.rod.newton import Equilibrium, equilibrium
from mechanics.rod.problem import RodProblem
from mechanics.sides import SIDES, Side
from mechanics.strap.direction import tangent_point
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array


def straight(n: int, length: float, d: float = 1.0) -> RodModel:
    x = np.zeros((n + 1, 3))
    x[:, 0] = np.linspace(0.0, length, n + 1)
    return RodModel.chain(x, d, e_mpa=2e5, g_mpa=8e4)


def quarter(n: int, radius: float, d: float, *, e: float, g: float, angle: float = np.pi / 2) -> RodModel:
    """An arc clamped at its start, where it runs along x; z is across its plane.

    Its nodes lie a little outside the arc so that the polygon has the arc's length.
    """
    a = np.linspace(0.0, angle, n + 1)
    half = 0.5 * angle / n
    r = radius * half / np.sin(half)
    return RodModel.chain(np.stack([r * np.sin(a), r * (1 - np.cos(a)), 0 * a], 1), d, e_mpa=e, g_mpa=g)


def tip_load(model: RodModel, load: list[float]) -> Array:
    dead = np.zeros((len(model.node_mm), 6))
    dead[-1] = load
    return dead


def tip(model: RodModel, found: Equilibrium) -> Array:
    return np.asarray((model.node_mm + found.state.move_mm)[-1])


def solved(model: RodModel, load: list[float]) -> Equilibrium:
    problem = RodProblem.clamped(model, [0], dead=tip_load(model, load))
    return equilibrium(problem, model.free_state())


def elastica(alpha: float) -> tuple[float, float]:
    """Drop and reach (both over length) of an inextensible cantilever under a dead end load P across it.

    alpha = P L^2 / EI. Bisshopp KE, Drucker DC 1945 Q Appl Math 3:272-275 (elliptic integrals; from memory),
    evaluated by scipy.special: an independent route.
    """

    def parts(slope: float) -> tuple[float, float]:
        m = 0.5 * (1.0 + np.sin(slope))
        return m, np.arcsin(1.0 / np.sqrt(2.0 * m))

    def gap(slope: float) -> float:
        m, low = parts(slope)
        return float(ellipk(m) - ellipkinc(low, m) - np.sqrt(alpha))

    slope = brentq(gap, 1e-9, np.pi / 2 - 1e-12, xtol=1e-15)
    m, low = parts(slope)
    drop = 1.0 - 2.0 / np.sqrt(alpha) * (ellipe(m) - ellipeinc(low, m))
    return float(drop), float(np.sqrt(2.0 * np.sin(slope) / alpha))


@pytest.mark.parametrize("alpha", [0.2, 1.0, 4.0, 10.0])
def test_a_cantilever_bends_as_the_elliptic_integrals_say(alpha: float) -> None:
    length = 100.0
    errors = []
    for n in (20, 40):
        model = straight(n, length)
        found = solved(model, [0.0, 0.0, -alpha * model.bend[0, 1] / length**2, 0.0, 0.0, 0.0])
        at = tip(model, found)
        drop, reach = elastica(alpha)
        errors.append(np.hypot(-at[2] / length - drop, at[0] / length - reach))
    assert errors[1] < 3e-4
    # Second order; stretching (EA is finite) leaves a floor near alpha d^2 / (16 L^2).
    assert errors[1] < 0.3 * errors[0] + 1e-5 * alpha


def test_one_element_is_exact_in_the_small() -> None:
    # P L^3 / 3EI and M L / EI: the element is the Euler-Bernoulli beam, it neither locks nor shears.
    model = straight(1, 50.0)
    ei = model.bend[0, 1]
    across = solved(model, [0.0, 1e-4, 0.0, 0.0, 0.0, 0.0]).state.move_mm[-1, 1]
    assert across == pytest.approx(1e-4 * 50.0**3 / (3.0 * ei), rel=1e-6)
    turned = solved(model, [0.0, 0.0, 0.0, 0.0, 0.0, 1e-3]).state
    assert turned.move_mm[-1, 1] == pytest.approx(1e-3 * 50.0**2 / (2.0 * ei), rel=1e-6)


def test_the_elastica_has_its_tabled_value() -> None:
    # P L^2/EI = 1: drop 0.3017, tip's reach 1 - 0.0564 (Mattiasson K 1981 Int J Numer Methods Eng 17:145-153,
    # from memory: w/L 0.30172, u/L 0.05643).
    drop, reach = elastica(1.0)
    assert drop == pytest.approx(0.30172, abs=2e-5)
    assert 1.0 - reach == pytest.approx(0.05643, abs=2e-5)


def test_an_end_moment_bends_a_wire_into_a_full_circle() -> None:
    model = straight(60, 100.0)
    moment = 2.0 * np.pi * model.bend[0, 1] / 100.0
    found = solved(model, [0.0, 0.0, 0.0, 0.0, 0.0, moment])
    np.testing.assert_allclose(tip(model, found), 0.0, atol=1e-6)
    placed = model.node_mm + found.state.move_mm
    radius = np.linalg.norm(placed - placed[:-1].mean(axis=0), axis=1)
    np.testing.assert_allclose(radius, 100.0 / (2.0 * np.pi), rtol=1e-3)


def test_the_curved_cantilever_of_bathe_and_bolourchi() -> None:
    # Bathe KJ, Bolourchi S 1979 Int J Numer Methods Eng 14:961-986: 45 degree bend, radius 100, unit square,
    # E 1e7, no Poisson effect; at 600 the tip is near (15.7, 47.2, 53.4) (from memory). A round wire of the
    # same second moment has the same twisting stiffness there.
    d = (64.0 / (12.0 * np.pi)) ** 0.25
    tips = []
    for n in (16, 32, 64):
        model = quarter(n, 100.0, d, e=1e7, g=5e6, angle=np.pi / 4)
        at = tip(model, solved(model, [0.0, 0.0, 600.0, 0.0, 0.0, 0.0]))
        tips.append(np.array([at[1], at[0], at[2]]))
    np.testing.assert_allclose(tips[-1], [15.7, 47.2, 53.4], atol=0.12)
    assert np.linalg.norm(tips[2] - tips[1]) < 0.3 * np.linalg.norm(tips[1] - tips[0])


RADIUS, E, G = 50.0, 2e5, 8e4


@pytest.mark.parametrize(
    ("load", "moves", "formula"),
    [  # Castigliano, quarter circle clamped at one end (closed forms, checked by hand). At the free end y is
        # the tangent and x points outward.
        ([0, 1, 0, 0, 0, 0], 1, lambda ei, gj: (3 * np.pi / 4 - 2) / ei),
        ([1, 0, 0, 0, 0, 0], 0, lambda ei, gj: np.pi / 4 / ei),
        ([1, 0, 0, 0, 0, 0], 1, lambda ei, gj: 0.5 / ei),
        ([0, 0, 1, 0, 0, 0], 2, lambda ei, gj: np.pi / 4 / ei + (3 * np.pi / 4 - 2) / gj),
    ],
)
def test_a_quarter_circle_gives_as_castigliano_says(load: list[float], moves: int, formula: object) -> None:
    model = quarter(80, RADIUS, 1.5, e=E, g=G)
    force = 1e-4
    found = solved(model, [force * v for v in load])
    wanted = force * RADIUS**3 * formula(model.bend[0, 1], model.bend[0, 0])  # type: ignore[operator]
    assert abs(found.state.move_mm[-1, moves]) == pytest.approx(abs(wanted), rel=1e-3)


def test_timoshenkos_quarter_ring() -> None:
    # Out of plane load on a quarter ring, E 30e6 psi, nu 0.3, P 50 lb, R 100 in, d 2 in: 2.648 in
    # (Timoshenko's problem in a published set of verification problems).
    e = 30e6
    model = quarter(64, 100.0, 2.0, e=e, g=e / 2.6)
    found = solved(model, [0.0, 0.0, -50.0, 0.0, 0.0, 0.0])
    assert -found.state.move_mm[-1, 2] == pytest.approx(2.648, abs=0.004)


def test_a_u_bow_opens_as_the_closed_form_says() -> None:
    # Opening by +-F at the tips: (2F/EI)[L^3/3 + R(pi L^2/2 + 2LR + pi R^2/4)], derived by Castigliano. With
    # E 193 GPa, d 1.15, R 26, L 25: 0.106 N per mm.
    r, leg, n = 26.0, 25.0, 120
    a = np.linspace(np.pi, 2 * np.pi, n + 1)
    out = r * (np.pi / n / 2) / np.sin(np.pi / n / 2)
    arc = np.stack([out * np.cos(a), out * np.sin(a), 0 * a], 1)
    t = np.linspace(0.0, leg, 31)
    right = np.stack([np.full(31, arc[0, 0]), t[::-1], 0 * t], 1)[:-1]
    left = np.stack([np.full(31, arc[-1, 0]), t, 0 * t], 1)[1:]
    model = RodModel.chain(np.concatenate([right, arc, left]), 1.15, e_mpa=193e3, g_mpa=75e3)
    force = 1e-3
    dead = np.zeros((len(model.node_mm), 6))
    dead[-1, 0] = force
    dead[0, 0] = -force
    middle = len(model.node_mm) // 2
    found = equilibrium(RodProblem.clamped(model, [middle], dead=dead), model.free_state())
    opening = found.state.move_mm[-1, 0] - found.state.move_mm[0, 0]
    inside = leg**3 / 3 + r * (np.pi * leg**2 / 2 + 2 * leg * r + np.pi * r**2 / 4)
    assert opening == pytest.approx(2 * force / model.bend[0, 1] * inside, rel=2e-3)
    assert force / opening == pytest.approx(0.106, abs=0.001)


def test_a_strut_buckles_at_eulers_load() -> None:
    # Clamped-free: P = pi^2 EI / (4 L^2).
    model = straight(40, 100.0)
    euler = np.pi**2 * model.bend[0, 1] / (4 * 100.0**2)
    assert solved(model, [-0.995 * euler, 0.0, 0.0, 0.0, 0.0, 0.0]).stable
    assert not solved(model, [-1.005 * euler, 0.0, 0.0, 0.0, 0.0, 0.0]).stable


def stiff_bow(*, taper: float, short_mm: float, e_gpa: float, bore_mm: float) -> BowWire:
    """Plane bow of the asymmetric-bow statics: tubes at x = +-26 with their middles on y = 0, left tip
    (-65, 10) of the source's frame (x to the patient's right), here mirrored to LPS."""
    tips = {
        "left": np.array([65.0, 10.0, 0.0]),
        "right": np.array([-(65.0 - taper * short_mm), 10.0 - short_mm, 0.0]),
    }

    def path(corners: list[Array]) -> Array:
        pieces = [np.linspace(a, b, 30, endpoint=False) for a, b in itertools.pairwise(corners)]
        return np.concatenate([*pieces, [corners[-1]]])

    def at(x: float, y: float) -> Array:
        return np.array([x, y, 0.0])

    inner = path(
        [at(-26, 2), at(-26, -2), at(-24, -25), at(-6, -45), at(6, -45), at(24, -25), at(26, -2), at(26, 2)]
    )
    outer = path([tips["right"], at(-60, -35), at(-6, -46.5), at(6, -46.5), at(60, -35), tips["left"]])
    parts = [WirePart.uniform(inner, 1.143, part="inner"), WirePart.uniform(outer, 1.83, part="outer")]
    middle = [float(p.s_mm[int(np.argmin(np.abs(p.points_mm[:, 0])))]) for p in parts]
    tubes: dict[Side, Tube] = {
        "right": Tube(at(-26, -2), at(-26, 2), bore_mm),
        "left": Tube(at(26, -2), at(26, 2), bore_mm),
    }
    return BowWire(
        *parts,
        JointRegion(middle[0] - 5, middle[0] + 5, middle[1] - 5, middle[1] + 5, 2.5),
        StockMaterial(e_gpa=e_gpa, proof_mpa=1e9),
        tubes,
        {"right": 4.0, "left": parts[0].length_mm - 4.0},
        {"right": 30.0, "left": 30.0},
    )


@pytest.mark.parametrize(
    ("taper", "short_mm", "long_side_n", "short_side_n", "lateral_n"),
    [  # Lever rule Y = F (a +- e) / 2a, T 5 N, a 26, neck circle (0, 85) radius 48, left tip (-65, 10): worked by hand
        (0.0, 0.0, 4.89, 4.89, 0.0),
        (0.12, 15.0, 5.305, 4.522, 0.239),
        (0.5, 15.0, 5.795, 4.070, 0.528),
        (0.3, 40.0, 6.289, 3.597, 0.824),
        (0.5, 40.0, 6.857, 3.032, 1.170),
    ],
)
def test_a_stiff_asymmetric_bow_divides_its_pull_by_the_lever_rule(
    taper: float, short_mm: float, long_side_n: float, short_side_n: float, lateral_n: float
) -> None:
    bow = stiff_bow(taper=taper, short_mm=short_mm, e_gpa=1e5, bore_mm=1.5)
    neck = np.array([0.0, 85.0, 0.0])
    pulls = {}
    for side in SIDES:
        hook = bow.hook_mm[side]
        point = tangent_point(hook, centre_mm=neck, radius_mm=48.0, side=side)
        pulls[side] = StrapPull.along(point - hook, force_n=5.0)
    supports = {s: TubeSupport(bow.tubes[s].middle_mm) for s in SIDES}
    worn = elastic_wear(bow, pulls, supports)
    # The pull's lateral part is taken somewhere along the 4 mm of a tube: up to 2 mm from its middle.
    give = 2.0 * lateral_n / 52.0 + 0.003
    assert worn.force_n["left"][1] == pytest.approx(long_side_n, abs=give)
    assert worn.force_n["right"][1] == pytest.approx(short_side_n, abs=give)
    lateral = worn.force_n["left"][0] + worn.force_n["right"][0]
    # Toward the short arm's side: the patient's right.
    assert -lateral == pytest.approx(lateral_n, abs=2e-3)


@pytest.mark.parametrize(("short_mm", "low", "high"), [(15.0, 1.05, 1.6), (40.0, 1.3, 2.6)])
def test_a_real_asymmetric_bow_stays_in_the_measured_band(short_mm: float, low: float, high: float) -> None:
    # Plausibility, not equality: a 40 mm shorter arm gave the long side 2.17 times as much (Brosh T et al. 2005
    # Am J Orthod Dentofacial Orthop 128:68-77, measured); at 15 mm and 2.5 N the sides differed by 1.008 N with
    # 0.21 N lateral toward the short arm (Geramy A et al. 2015 J Dent Tehran 12, finite elements).
    bow = stiff_bow(taper=0.3, short_mm=short_mm, e_gpa=180.0, bore_mm=1.25)
    neck = np.array([0.0, 85.0, 0.0])
    pulls = {}
    for side in SIDES:
        at = tangent_point(bow.hook_mm[side], centre_mm=neck, radius_mm=48.0, side=side)
        pulls[side] = StrapPull.toward(at, force_n=2.5)
    worn = elastic_wear(bow, pulls, {s: TubeSupport(bow.tubes[s].middle_mm) for s in SIDES})
    left, right = worn.force_n["left"], worn.force_n["right"]
    assert low < left[1] / right[1] < high
    assert 0.05 < -(left[0] + right[0]) < 0.8
