"""One scan on another: known motions come back through noise, crops and wrong starts; what cannot fit is refused."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from mesh_tools.registration.agreement import Tolerance
from mesh_tools.registration.errors import (
    AmbiguousFitError,
    MirroredDataError,
    PoorOverlapError,
    RegistrationError,
    ResidualError,
    UnitMismatchError,
)
from mesh_tools.registration.landmark_fit import landmark_fit
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.registration.nearest import closest_on_faces, signed_distances
from mesh_tools.registration.register import Registration, laid_by_landmarks, register
from mesh_tools.registration.samples import sampled
from mesh_tools.registration.starts import spread_turns
from mesh_tools.surface import Surface
from tests.mesh_tools.registration_cases import (
    OPEN_MESHES,
    a_motion,
    cropped,
    demo_scan,
    mirror,
    noisy,
    open_scan,
    wrong_start,
)

needs_open_meshes = pytest.mark.skipif(
    not OPEN_MESHES.is_dir(), reason="the folder of open meshes ../shared/meshes is absent"
)


def error_mm(found: Registration, known: RigidMotion, surface: Surface) -> float:
    """Largest error of any point of ``surface`` when ``known`` had carried it away first."""
    return found.motion.after(known).travel_mm(surface.points_mm)


def near(
    surface: Surface, known: RigidMotion, *, turn_deg: float, shift_mm: float, seed: int = 0
) -> RigidMotion:
    """A start for the surface carried away by ``known``, wrong by a turn and a shift."""
    return wrong_start(surface, turn_deg=turn_deg, shift_mm=shift_mm, seed=seed).after(known.inverse)


@pytest.mark.parametrize(("seed", "turn_deg", "shift_mm"), [(0, 8.0, 1.5), (1, 8.0, 1.5), (2, 20.0, 4.0)])
def test_a_molar_comes_home_to_its_arch(seed: int, turn_deg: float, shift_mm: float) -> None:
    # A third of the tooth, its crown, is in the arch's surface; noise 0.05 mm.
    molar, known = demo_scan("molar_16"), a_motion(seed)
    start = near(molar, known, turn_deg=turn_deg, shift_mm=shift_mm, seed=seed)
    found = register(noisy(known.moved(molar), 0.05, seed), demo_scan("arch"), start=start)
    assert error_mm(found, known, molar) < 0.06
    assert 0.25 < found.agreement.overlap_share < 0.40
    assert found.converged
    assert found.start == "as given"


def test_without_noise_the_error_is_the_mesh_step() -> None:
    molar, known = demo_scan("molar_16"), a_motion(3)
    start = near(molar, known, turn_deg=5.0, shift_mm=1.0)
    assert error_mm(register(known.moved(molar), molar, start=start), known, molar) < 1e-3


def test_either_scan_may_move() -> None:
    molar, arch, known = demo_scan("molar_26"), demo_scan("arch"), a_motion(4, turn_deg=6.0, shift_mm=1.0)
    there = register(known.moved(molar), arch, start=near(molar, known, turn_deg=3.0, shift_mm=0.5))
    back = register(arch, known.moved(molar), start=there.motion.inverse)
    assert back.motion.after(there.motion).travel_mm(known.applied(molar.points_mm)) < 1e-2
    assert len(back.distances_mm) == len(arch.points_mm)


def test_the_answer_moves_with_the_scans() -> None:
    # Turning and shifting either scan with its start changes nothing but the frame.
    molar, arch = demo_scan("molar_16"), demo_scan("arch")
    start = wrong_start(molar, turn_deg=6.0, shift_mm=1.0)
    plain = register(molar, arch, start=start)
    one, other = a_motion(11), a_motion(12)
    moved = register(one.moved(molar), other.moved(arch), start=other.after(start).after(one.inverse))
    again = other.inverse.after(moved.motion).after(one)
    assert np.abs(again.applied(molar.points_mm) - plain.motion.applied(molar.points_mm)).max() < 1e-4
    assert moved.agreement.rms_mm == pytest.approx(plain.agreement.rms_mm, abs=1e-4)


def test_distances_of_the_map() -> None:
    # A sphere of radius 10.2 about one of radius 10: every distance is 0.2 mm, up to the chords (below 0.01 mm).
    inner, outer = (
        Surface(m.vertices, m.faces) for m in (trimesh.creation.icosphere(4, r) for r in (10.0, 10.2))
    )
    samples = sampled(inner, 20_000)
    out = signed_distances(outer.points_mm, inner, samples)
    assert out.min() > 0.199
    assert out.max() < 0.22
    assert signed_distances(0.95 * inner.points_mm, inner, samples).max() < -0.45


def test_closest_point_against_trimesh() -> None:
    rng = np.random.default_rng(0)
    corners = rng.normal(size=(400, 3, 3))
    surface = Surface(corners.reshape(-1, 3), np.arange(1200).reshape(-1, 3))
    points = 2.0 * rng.normal(size=(400, 3))
    ours = closest_on_faces(points, surface, np.arange(400)[:, None])[:, 0]
    np.testing.assert_allclose(ours, trimesh.triangles.closest_point(corners, points), atol=1e-9)


def test_samples_spread_by_area_and_move_with_the_surface() -> None:
    arch = demo_scan("arch")
    samples, motion = sampled(arch, 5000), a_motion(2)
    centroid = (arch.areas_mm2 @ arch.face_centres_mm) / arch.areas_mm2.sum()
    assert np.abs(samples.points_mm.mean(axis=0) - centroid).max() < 0.2
    np.testing.assert_allclose(
        sampled(motion.moved(arch), 5000).points_mm, motion.applied(samples.points_mm), atol=1e-9
    )


def test_turns_are_spread_evenly() -> None:
    # No turn is farther than 50 degrees from the nearest of 96: 96 balls of 25 degrees fill 0.28 of all turns.
    turns = spread_turns(96)
    some = np.array([a_motion(k).rotation for k in range(300)])
    trace = np.einsum("aij,bij->ab", some, turns).max(axis=1)
    assert np.degrees(np.arccos((trace - 1.0) / 2.0)).max() < 50.0
    np.testing.assert_allclose(turns @ np.swapaxes(turns, 1, 2), np.tile(np.eye(3), (96, 1, 1)), atol=1e-12)


def test_a_face_is_found_from_everywhere() -> None:
    face, known = demo_scan("face"), a_motion(5)
    found = register(noisy(known.moved(face), 0.2), face)
    assert found.start == "everywhere"
    assert error_mm(found, known, face) < 0.15


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_a_crown_is_found_in_the_arch_from_everywhere(seed: int) -> None:
    crown, known = cropped(demo_scan("molar_26"), axis=2, share=0.45), a_motion(seed)
    assert error_mm(register(known.moved(crown), demo_scan("arch")), known, crown) < 0.05


@pytest.mark.slow
def test_a_useless_start_is_left_for_everywhere() -> None:
    face, known = demo_scan("face"), a_motion(6, turn_deg=150.0)
    found = register(known.moved(face), face, start=RigidMotion.still())
    assert found.start == "everywhere"
    assert error_mm(found, known, face) < 0.05


def test_mirrored_scans_are_refused() -> None:
    with pytest.raises(MirroredDataError, match="fits the other as its mirror image"):
        register(a_motion(1).moved(mirror(demo_scan("molar_26"))), demo_scan("molar_26"))


def test_a_symmetrical_scan_is_not_called_mirrored() -> None:
    face = demo_scan("face")
    assert register(noisy(face, 0.3), face, start=RigidMotion.still()).agreement.agreement > 0.99


@pytest.mark.parametrize(
    ("factor", "text"),
    [(0.1, "looks like cm"), (1.0 / 25.4, "looks like in"), (1e-3, "looks like m ")],
)
def test_units_are_named(factor: float, text: str) -> None:
    arch = demo_scan("arch")
    with pytest.raises(UnitMismatchError, match=text):
        register(arch.mapped(lambda p: factor * p), arch)


def test_both_in_a_wrong_unit() -> None:
    arch = demo_scan("arch").mapped(lambda p: 1e-3 * p)
    with pytest.raises(
        UnitMismatchError, match=r"moving scan is 0.0\d+ long.*it looks like m; name its unit"
    ):
        register(arch, arch)


@pytest.mark.parametrize("shape", ["sphere", "cylinder"])
def test_round_shapes_slide(shape: str) -> None:
    round_one = {
        "sphere": trimesh.creation.icosphere(4, 10.0),
        "cylinder": trimesh.creation.cylinder(9.0, 22.0, sections=180),
    }[shape]
    surface = Surface(round_one.vertices, round_one.faces)
    with pytest.raises(AmbiguousFitError, match=r"slide along one another|in two poses"):
        register(surface, surface, start=RigidMotion.still())


def test_a_shape_with_several_poses_is_refused_without_a_start() -> None:
    box = trimesh.creation.box((20.0, 14.0, 10.0)).subdivide().subdivide()
    surface = Surface(box.vertices, box.faces)
    with pytest.raises(AmbiguousFitError, match="two poses"):
        register(a_motion(2).moved(surface), surface)


def test_scans_that_touch_nowhere() -> None:
    face = demo_scan("face")
    fit = landmark_fit(face.points_mm[:200:40], face.points_mm[:200:40] + np.array([0.0, 0, 400.0]))
    with pytest.raises(PoorOverlapError, match="0% of the smaller scan lies on the other"):
        register(face, face, landmarks=fit)
    assert laid_by_landmarks(face, face, fit).agreement.overlap_share == 0.0


def test_landmarks_begin_the_search() -> None:
    # Five landmarks picked with 0.7 mm of scatter; the shape takes the scatter out.
    molar, known, rng = demo_scan("molar_16"), a_motion(9), np.random.default_rng(1)
    chosen = molar.points_mm[rng.choice(len(molar.points_mm), 5, replace=False)]
    fit = landmark_fit(known.applied(chosen) + 0.7 * rng.normal(size=(5, 3)), chosen, limit_mm=4.0)
    assert fit.motion.after(known).travel_mm(molar.points_mm) > 0.3
    found = register(noisy(known.moved(molar), 0.05), demo_scan("arch"), landmarks=fit)
    assert error_mm(found, known, molar) < 0.06
    assert found.landmark_fit is fit


def test_a_tolerance_must_make_sense() -> None:
    with pytest.raises(ValueError, match="same_mm must lie between 0 and reach_mm"):
        Tolerance(2.0, 1.0)


@needs_open_meshes
@pytest.mark.parametrize("noise", [pytest.param(0.0, marks=pytest.mark.slow), 0.1])
def test_open_arch_on_its_cast(noise: float) -> None:
    arch, cast = (open_scan(f"arch/upper_{n}_mm.stl") for n in ("open_scan", "cast"))
    known = a_motion(1)
    found = register(noisy(known.moved(arch), noise, 1), noisy(cast, noise, 2))
    assert error_mm(found, known, arch) < 0.01 + 0.5 * noise


@needs_open_meshes
@pytest.mark.parametrize(
    "crop", [{"axis": 0, "share": 0.5}, {"axis": 1, "share": 0.5}, {"axis": 1, "share": 0.3}]
)
def test_a_part_of_the_open_arch(crop: dict[str, float]) -> None:
    arch, known = open_scan("arch/upper_open_scan_mm.stl"), a_motion(3)
    part = cropped(arch, **crop)  # type: ignore[arg-type]
    start = near(part, known, turn_deg=10.0, shift_mm=3.0)
    found = register(noisy(known.moved(part), 0.05), arch, start=start)
    assert error_mm(found, known, part) < 0.08


@needs_open_meshes
@pytest.mark.parametrize("turn_deg", [15.0, 30.0])
def test_how_far_off_a_tooth_may_start(turn_deg: float) -> None:
    tooth, known = open_scan("teeth/maxillary-first-molar_mm_12k.stl"), a_motion(2)
    for seed in range(2):
        start = near(tooth, known, turn_deg=turn_deg, shift_mm=3.0, seed=seed)
        found = register(noisy(known.moved(tooth), 0.05, seed), tooth, start=start)
        assert found.start == "as given"
        assert error_mm(found, known, tooth) < 0.05


@needs_open_meshes
@pytest.mark.slow
@pytest.mark.parametrize(
    ("moving", "fixed"),
    [
        ("head/female_young_headneck_open_mm.stl", "head/male_old_headneck_open_mm.stl"),
        ("teeth/maxillary-first-molar_mm_12k.stl", "teeth/maxillary-second-molar_mm_12k.stl"),
    ],
)
def test_two_people_or_two_teeth(moving: str, fixed: str) -> None:
    with pytest.raises(ResidualError, match="less than 80%: two people, two teeth"):
        register(open_scan(moving), open_scan(fixed))


@needs_open_meshes
@pytest.mark.slow
def test_another_persons_arch_and_molar() -> None:
    with pytest.raises(RegistrationError, match=r"agrees within 0.3 mm, less than 80%"):
        register(open_scan("arch/upper_open_scan_mm.stl"), demo_scan("arch"))
    with pytest.raises(RegistrationError):
        register(open_scan("teeth/maxillary-first-molar_mm_12k.stl"), demo_scan("molar_26"))
