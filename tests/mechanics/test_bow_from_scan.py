"""A bow found again in a scan of it: swept tubes as two shells, a fused surface from a level set, moved and noisy."""

from __future__ import annotations

import numpy as np
import pytest
from bow_cases import ellipsoid, needs
from bow_surfaces import swept, two_shells
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from mechanics.bow.bend import ArmSetting, bent_bow
from mechanics.bow.fit import fit_bow
from mechanics.bow.wire import BowWire, WirePart
from mechanics.bow_from_scan.scanned import ScannedBow, in_tubes, scanned_bow
from mechanics.sides import SIDES
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, NoAnswerError
from mesh_tools.surface import Surface


@pytest.fixture(scope="module")
def bow() -> BowWire:
    wire = fit_bow(needs(arm_length_mm={"right": 100.0, "left": 110.0})).wire
    return bent_bow(wire, {"right": ArmSetting(18.0), "left": ArmSetting(-25.0, place_mm=70.0)})


def near(found: WirePart, true: WirePart) -> Array:
    """Distance of every found station from the true centreline."""
    return np.asarray(cKDTree(true.resampled(stations=5000).points_mm).query(found.points_mm)[0])


def check(found: ScannedBow, bow: BowWire, *, mean_mm: float, end_mm: float) -> None:
    """Centrelines, lengths, diameters, hooks, joint and bends against the bow that was scanned."""
    for got, true in ((found.inner, bow.inner), (found.outer, bow.outer)):
        assert near(got, true).mean() < mean_mm
        assert got.length_mm == pytest.approx(true.length_mm, abs=2.0 * end_mm)
    assert found.inner_diameter_mm == pytest.approx(1.143, abs=0.04)
    assert found.outer_diameter_mm == pytest.approx(1.83, abs=0.04)
    for side in SIDES:
        assert np.linalg.norm(found.hook_mm[side] - bow.hook_mm[side]) < end_mm
    # Where the surfaces run together reaches past the solder, for the wires part slowly; its middle does not move.
    middle = found.outer.at(found.joint.outer_middle_mm)
    assert np.linalg.norm(middle - bow.outer.at(bow.joint.outer_middle_mm)) < 1.5
    assert [b.side for b in found.bends] == ["right", "left"]
    for bend, place, angle in zip(
        found.bends, (bow.bend_place_mm["right"], 70.0), (18.0, -25.0), strict=True
    ):
        assert bend.place_mm == pytest.approx(place, abs=1.5)
        assert bend.angle_deg == pytest.approx(angle, abs=1.5)


def test_a_scan_of_two_shells_gives_the_bow_back(bow: BowWire) -> None:
    check(scanned_bow(two_shells(bow)), bow, mean_mm=0.08, end_mm=0.3)


def test_a_noisy_scan_gives_the_bow_back(bow: BowWire) -> None:
    """Noise of 0.03 mm, that of a good desktop scanner (from memory)."""
    scan, r = two_shells(bow), np.random.default_rng(0)
    check(
        scanned_bow(Surface(scan.points_mm + 0.03 * r.normal(size=scan.points_mm.shape), scan.faces)),
        bow,
        mean_mm=0.1,
        end_mm=0.4,
    )


def test_a_fused_scan_gives_the_bow_back(bow: BowWire) -> None:
    """One surface around both wires: the level set of their distance (marching cubes)."""
    measure = pytest.importorskip("skimage.measure", reason="scikit-image makes the fused surface")
    flat = fit_bow(needs(arm_length_mm={"right": 100.0, "left": 110.0})).wire
    step, pad = 0.4, 2.0
    points = np.vstack(
        [flat.inner.resampled(stations=800).points_mm, flat.outer.resampled(stations=1400).points_mm]
    )
    thick = np.concatenate([np.full(800, 1.143), np.full(1400, 1.83)])
    low, high = points.min(axis=0) - pad, points.max(axis=0) + pad
    grid = np.stack(
        np.meshgrid(*[np.arange(a, b, step) for a, b in zip(low, high, strict=True)], indexing="ij"), -1
    )
    gap = np.minimum(*[
        cKDTree(points[thick == d]).query(grid.reshape(-1, 3), distance_upper_bound=3.0)[0].clip(max=3.0) - 0.5 * d
        for d in (1.143, 1.83)
    ]).reshape(grid.shape[:3])  # fmt: skip
    vertices, faces, _, _ = measure.marching_cubes(gap, 0.0)
    found = scanned_bow(Surface(vertices * step + low, faces))
    assert near(found.inner, flat.inner).mean() < 0.12
    assert near(found.outer, flat.outer).mean() < 0.12
    assert found.outer_diameter_mm == pytest.approx(1.83, abs=0.1)
    assert found.inner_diameter_mm == pytest.approx(1.143, abs=0.1)
    assert found.bends == ()
    for side in SIDES:
        # The level set ends in a half ball: the scan's wire is longer by its radius, 0.92 mm.
        assert np.linalg.norm(found.hook_mm[side] - flat.hook_mm[side]) == pytest.approx(0.915, abs=0.3)


def test_it_is_laid_back_into_the_tubes(bow: BowWire) -> None:
    turn = Rotation.from_euler("zyx", [12.0, -6.0, 9.0], degrees=True).as_matrix()
    there = two_shells(bow).moved(turn, [30.0, -80.0, 200.0])
    back = in_tubes(scanned_bow(there), bow.tubes)
    for side in SIDES:
        assert np.linalg.norm(back.hook_mm[side] - bow.hook_mm[side]) < 1.0
        assert back.arm_length_mm(side) == pytest.approx(bow.arm_length_mm(side), abs=1.5)
    assert near(back.inner, bow.inner).max() < 0.5


def test_what_is_no_bow_is_refused(bow: BowWire) -> None:
    scan = two_shells(bow)
    with pytest.raises(BadValueError, match=r"scan is 1\d.\d mm long; a face-bow measures 60 to 300 mm"):
        scanned_bow(scan.mapped(lambda p: p * 0.1))
    with pytest.raises(NoAnswerError, match="scan shows 2 free wire ends where a face-bow has 4"):
        scanned_bow(Surface(*swept(bow.outer)))
    with pytest.raises(
        BadValueError, match=r"outer wire of the scan is 2.93 mm thick; bow wire measures 0.7 to 2.6"
    ):
        scanned_bow(scan.mapped(lambda p: p * 1.6))
    with pytest.raises((BadValueError, NoAnswerError), match=r"scan shows|face-bow measures"):
        scanned_bow(ellipsoid(radii_mm=(50.0, 60.0, 40.0), centre_mm=(0.0, 0.0, 0.0)))
    with pytest.raises(BadValueError, match=r"scan is 0.0 mm long"):
        scanned_bow(Surface(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)))
