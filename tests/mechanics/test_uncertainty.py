"""Uncertainty.

route                      <> route                                    what must agree
slices of K                <> cutting the surface exactly              K at any crest level, and at a tilted crest
noise by proportion        <> moving the surface                       change of K
many centres at once       <> one after the other                      elastic and sagittal centres
indices                    <> Ishigami's function, by hand             first and total (from memory)
ellipsoid                  <> the normal distribution it came from     axes and share inside
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from root_shapes import irregular, paraboloid
from scipy.stats import qmc

from mechanics.centres.stiffness_centres import elastic_centre, plane_centre
from mechanics.ligament.facets import facets_of
from mechanics.ligament.foundation import UnitStiffness, foundation_stiffness, unit_stiffness
from mechanics.uncertainty.batch import elastic_centres, plane_centres
from mechanics.uncertainty.distributions import NOISE_MODES, USUAL_INPUTS, Distribution, symmetric
from mechanics.uncertainty.indices import sobol_index
from mechanics.uncertainty.propagate import Uncertainty, linear, propagate
from mechanics.uncertainty.region import band, ellipsoid
from mechanics.uncertainty.report import uncertainty_text, uncertainty_tree
from mechanics.uncertainty.root_family import RootFamily, noise_shifts, root_family
from mesh_tools.arrays import Array
from mesh_tools.cut import clipped
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

QUIET = np.zeros((1, NOISE_MODES))
LEVEL = np.array([0.0, 0.0])


@pytest.fixture(scope="module")
def root() -> tuple[Array, Array]:
    return irregular(1, around=40, along=26)


@pytest.fixture(scope="module")
def family(root: tuple[Array, Array]) -> RootFamily:
    return family_of(root)


def family_of(root: tuple[Array, Array], *, crest: tuple[float, float] = (0.0, 1.5)) -> RootFamily:
    points, faces = root
    depth = points[:, 2] - points[:, 2].min()
    return root_family(
        points, faces, depth_mm=depth, long_axis=[0, 0, 1], crest_range_mm=crest, nominal_mm=0.75
    )


def cut_below(root: tuple[Array, Array], depth: Array, level: float) -> UnitStiffness:
    kept = clipped(Surface(*root), -depth, -level)
    return unit_stiffness(facets_of(kept.points_mm, kept.faces))


@pytest.mark.parametrize("level", [0.013, 0.5, 1.234])
def test_a_crest_level_is_read_as_if_it_were_cut(
    root: tuple[Array, Array], family: RootFamily, level: float
) -> None:
    depth = root[0][:, 2] - root[0][:, 2].min()
    expected = cut_below(root, depth, level)
    found = family.at(level_mm=np.array([level]), tilt_rad=LEVEL[None], noise_mm=QUIET)
    for a, b in ((found.normal[0], expected.normal), (found.shear[0], expected.shear)):
        np.testing.assert_allclose(a, b, atol=5e-4 * np.abs(b).max())


@pytest.mark.parametrize("which", [0, 1])
def test_a_tilted_crest_as_if_it_were_cut(which: int) -> None:
    points, faces = paraboloid(around=80, along=60)
    family = family_of((points, faces))
    tilt = np.eye(2)[which] * np.radians(3.0)
    # the middle of the rim of a root of revolution lies on its axis; half the difference has no second order
    more, less = (
        cut_below((points, faces), points[:, 2] - s * points @ (tilt @ family.lateral), 0.75)
        for s in (1.0, -1.0)
    )
    level = np.array([0.75])
    found = family.at(level_mm=level, tilt_rad=tilt[None], noise_mm=QUIET)
    flat = family.at(level_mm=level, tilt_rad=LEVEL[None], noise_mm=QUIET)
    for name in ("normal", "shear"):
        change = 0.5 * (getattr(more, name) - getattr(less, name))
        predicted = getattr(found, name)[0] - getattr(flat, name)[0]
        assert np.linalg.norm(predicted - change) < 0.05 * np.linalg.norm(change)


def test_noise_in_proportion_is_the_moved_surface(root: tuple[Array, Array], family: RootFamily) -> None:
    points, faces = root
    kept = faces[(points[:, 2] - points[:, 2].min())[faces].mean(axis=1) >= 0.75]
    amplitude = 0.05 * np.random.default_rng(1).normal(size=NOISE_MODES)
    moved = points + noise_shifts(points, kept, seed=0) @ amplitude
    change = unit_stiffness(facets_of(moved, kept)).normal - unit_stiffness(facets_of(points, kept)).normal
    quiet, noisy = family.at(
        level_mm=np.full(2, 0.75), tilt_rad=np.zeros((2, 2)), noise_mm=np.stack([0.0 * amplitude, amplitude])
    ).normal
    assert np.linalg.norm(noisy - quiet - change) < 0.1 * np.linalg.norm(change)


def test_noise_has_unit_variance(root: tuple[Array, Array]) -> None:
    size = (noise_shifts(*root, seed=5) ** 2).sum(axis=(1, 2))
    assert size.mean() == pytest.approx(1.0, abs=0.1)


def test_the_long_axis_tilts_the_crest_and_the_plane_turns_the_axes(family: RootFamily) -> None:
    axis = propagate(family, inputs={"long_axis_deg": USUAL_INPUTS["long_axis_deg"]}, samples=64)
    assert axis.draws.centres_mm[:, 0].std() > 0.005
    assert axis.draws.centres_mm[:, 1].std() > 0.005
    plane = propagate(family, inputs={"occlusal_plane_deg": USUAL_INPUTS["occlusal_plane_deg"]}, samples=256)
    turns = plane.draws.rotations
    tilt = np.degrees(np.arccos(turns[:, 2, 2]))
    assert np.sqrt((tilt**2).mean()) == pytest.approx(2.0 * np.sqrt(2.0), rel=0.05)
    np.testing.assert_allclose(
        turns @ turns.swapaxes(1, 2), np.broadcast_to(np.eye(3), turns.shape), atol=1e-12
    )
    one = plane_centre(plane.draws.stiffness[7], turns[7, 0])
    np.testing.assert_allclose(plane.draws.centres_mm[7], one, atol=1e-9)


def test_many_centres_at_once_are_those_one_by_one() -> None:
    stack = np.stack([foundation_stiffness(*irregular(s), k_normal=4.0, k_shear=1.0) for s in range(5)])
    normals = np.random.default_rng(0).normal(size=(5, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    elastic, plane = plane_centres(stack, normals)
    np.testing.assert_allclose(elastic, elastic_centres(stack), atol=1e-12)
    for k, n, e, p in zip(stack, normals, elastic, plane, strict=True):
        np.testing.assert_allclose(e, elastic_centre(k), atol=1e-9)
        np.testing.assert_allclose(p, plane_centre(k, n), atol=1e-9)


def test_indices_of_ishigamis_function() -> None:
    """sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 on (-pi, pi)^3: first 0.3139, 0.4424, 0; total 0.5576, 0.4424, 0.2437."""

    def ishigami(x: Array) -> Array:
        return np.asarray(np.sin(x[:, 0]) * (1 + 0.1 * x[:, 2] ** 4) + 7.0 * np.sin(x[:, 1]) ** 2)

    points = np.pi * (2.0 * qmc.Sobol(6, rng=np.random.default_rng(1)).random_base2(13) - 1.0)
    a, b = points[:, :3], points[:, 3:]
    expected = {0: (0.3139, 0.5576), 1: (0.4424, 0.4424), 2: (0.0, 0.2437)}
    for i, (first, total) in expected.items():
        mixed = a.copy()
        mixed[:, i] = b[:, i]
        found = sobol_index(ishigami(a), ishigami(b), ishigami(mixed))
        assert found.first == pytest.approx(first, abs=0.02)
        assert found.total == pytest.approx(total, abs=0.02)
        assert 0.0 < found.total_error < 0.03


def test_an_input_that_does_nothing_has_no_index() -> None:
    assert sobol_index(np.ones(8), np.ones(8), np.ones(8)).total == 0.0


def test_the_ellipsoid_of_a_known_distribution() -> None:
    rng = np.random.default_rng(2)
    points = rng.normal(size=(40_000, 3)) * [0.5, 2.0, 1.0] + [1.0, 2.0, 3.0]
    found = ellipsoid(points)
    np.testing.assert_allclose(found.half_axes_mm, 2.7955 * np.array([2.0, 1.0, 0.5]), rtol=0.02)
    np.testing.assert_allclose(np.abs(found.axes), np.eye(3)[[1, 2, 0]], atol=0.03)
    assert found.share_inside == pytest.approx(0.95, abs=0.005)
    normal = band(points[:, 1])
    assert (normal.low, normal.high) == pytest.approx((2.0 - 3.92, 2.0 + 3.92), abs=0.08)


def answer(family: RootFamily, *, seed: int = 3, samples: int = 256) -> Uncertainty:
    bend = linear(np.array([0.0, 0.5, 2.0]), nominal_mm=np.array([0.0, 0.0, 5.0]), offset=7.0)
    return propagate(
        family,
        samples=samples,
        seed=seed,
        functionals={"bend_deg": bend, "tube": lambda d: d.tube_shift_mm[:, 1]},
    )


def test_the_same_seed_gives_the_same_answer(family: RootFamily) -> None:
    a, b, c = answer(family), answer(family), answer(family, seed=4)
    np.testing.assert_array_equal(a.region.mean_mm, b.region.mean_mm)
    assert a.indices == b.indices
    assert not np.array_equal(a.region.mean_mm, c.region.mean_mm)
    np.testing.assert_allclose(a.region.mean_mm, c.region.mean_mm, atol=0.05)


def test_the_answer_hangs_together(family: RootFamily) -> None:
    found = answer(family)
    np.testing.assert_allclose(found.region.mean_mm, found.draws.centres_mm.mean(axis=0), atol=1e-12)
    mean, centre = found.bands["bend_deg"].mean, found.region.mean_mm
    assert mean == pytest.approx(7.0 + 0.5 * centre[1] + 2.0 * (centre[2] - 5.0), abs=1e-9)
    assert found.indices["tube"]["tube_pick_mm"].total == pytest.approx(1.0, abs=0.15)
    assert found.indices["tube"]["nu"].total == pytest.approx(0.0, abs=1e-12)
    assert found.indices["centre"]["tube_pick_mm"].total == pytest.approx(0.0, abs=1e-12)
    assert set(found.ranking) == set(USUAL_INPUTS)
    assert found.convergence.samples == 512
    assert found.convergence.evaluations == 256 * 8
    assert found.region.share_inside == pytest.approx(0.95, abs=0.03)


def test_more_samples_settle(family: RootFamily) -> None:
    few, many = answer(family, samples=32).convergence, answer(family, samples=2048).convergence
    assert many.mean_shift_mm < few.mean_shift_mm
    assert many.mean_shift_mm < 0.01
    assert many.sd_change < 0.03


def test_one_certain_input_leaves_only_the_other(family: RootFamily) -> None:
    found = propagate(family, inputs={"crest_below_cej_mm": USUAL_INPUTS["crest_below_cej_mm"]}, samples=64)
    assert found.indices["centre"]["crest_below_cej_mm"].total == pytest.approx(1.0, abs=0.2)
    slope = np.polyfit(found.draws.inputs["crest_below_cej_mm"][:, 0], found.draws.centres_mm[:, 2], 1)[0]
    assert (
        0.3 < slope < 0.9
    )  # a lower crest moves the centre apically by about half a millimetre per millimetre


def test_distributions() -> None:
    crest = USUAL_INPUTS["crest_below_cej_mm"]
    values = crest.at((np.arange(20_001) + 0.5) / 20_001)
    assert (values.min(), values.max()) == pytest.approx((0.0, 1.5), abs=1e-3)
    assert values.mean() == pytest.approx(0.75, abs=1e-6)
    assert symmetric(2.0, "test").at(np.array([0.5, 0.8413447])) == pytest.approx([0.0, 2.0], abs=1e-3)
    assert all(d.source for d in USUAL_INPUTS.values())


def test_bad_questions_are_refused(root: tuple[Array, Array], family: RootFamily) -> None:
    with pytest.raises(BadValueError, match="unknown input 'crest'; known are crest_below_cej_mm"):
        propagate(family, inputs={"crest": symmetric(1.0, "test")})
    with pytest.raises(BadValueError, match="samples are needed"):
        propagate(family, samples=2)
    with pytest.raises(BadValueError, match="functional 'bad' must give"):
        propagate(family, samples=16, functionals={"bad": lambda d: d.centres_mm})
    with pytest.raises(BadValueError, match="sd must be positive"):
        Distribution("normal", 0.0, 1.0, "test", 0.5, 0.0)
    with pytest.raises(BadValueError, match="low must be below"):
        Distribution("uniform", 1.0, 1.0, "test")
    with pytest.raises(BadValueError, match="must reach up to the highest crest level"):
        family_of(root, crest=(-2.0, 1.5))
    with pytest.raises(BadValueError, match="nothing would hold the tooth"):
        family_of(root, crest=(0.0, 30.0))


def test_the_tree_is_plain_and_the_text_says_what_matters(family: RootFamily) -> None:
    found = answer(family)
    tree = json.loads(json.dumps(uncertainty_tree(found)))
    assert tree["half_axes_mm"] == pytest.approx(found.region.half_axes_mm.tolist())
    assert (
        tree["bands"]["bend_deg"]["low"]
        < tree["bands"]["bend_deg"]["mean"]
        < tree["bands"]["bend_deg"]["high"]
    )
    assert set(tree["indices"]["centre"]) == set(USUAL_INPUTS)
    assert "Sardana" in tree["inputs"]["crest_below_cej_mm"]["source"]
    text = uncertainty_text(found)
    first = {"surface_noise_mm": "surface of the scan", "crest_below_cej_mm": "level of the alveolar crest"}
    assert f"(total index): {first[found.ranking[0]]}" in text
    assert "512 samples, seed 3" in text
    assert "place of the tube" not in text
