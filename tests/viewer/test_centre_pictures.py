"""Pictures of one tooth's centre: they show what the report and statics say, and the folder is all or nothing."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from casework.centre import CentreReport
from casework.estimates_along import ALONG, estimates_along
from casework.estimating import estimate_from_file
from casework.loaded_root import LoadedRoot, loaded_roots
from casework.tooth_directions import ToothDirections, axes_of_tooth, tooth_directions
from mesh_tools.fdi import ToothNumber
from tests.viewer.test_palette import BLINDNESS, lab
from viewer import centre_folder
from viewer.annotate import annotate
from viewer.centre_folder import write_centre_folder
from viewer.centre_page import centre_html, place_words
from viewer.centre_png import blank, nearer
from viewer.cli import main
from viewer.draw_pyvista import picture
from viewer.drawing_probe import NO_DRAWING, DrawingProbe
from viewer.pressure_colours import pressure_colours, round_limit
from viewer.scene import Scene
from viewer.scene_of_centre import (
    AXES,
    ESTIMATES,
    REGION,
    TOOTH,
    region_shape,
    scene_of_centre,
    scene_of_load,
)
from viewer.tooth_views import ToothSide, estimates_view, tooth_view

MOLAR = Path(__file__).parents[2] / "demo_meshes" / "molar_26.stl"


@pytest.fixture(scope="module")
def report() -> CentreReport:
    return estimate_from_file(MOLAR, tooth=26, axes="LPS", samples=64)


@pytest.fixture(scope="module")
def loads(report: CentreReport) -> tuple[LoadedRoot, ...]:
    return loaded_roots(report)


@pytest.fixture(scope="module")
def tooth_scene(report: CentreReport) -> Scene:
    return scene_of_centre(report)


def hex_colour(rgb: np.ndarray) -> str:
    return "#" + "".join(f"{round(255 * c):02X}" for c in rgb)


# The scene


def test_the_region_drawn_is_the_ellipsoid_of_the_samples(report: CentreReport) -> None:
    """Every point is 2.795 standard deviations out (chi-square, 3 degrees of freedom, 95 %: 7.815, standard tables);
    the volume is 4/3 pi abc, positive only when the faces are wound outward."""
    assert report.confidence is not None
    region = report.confidence.uncertainty.region
    points, faces = region_shape(report.confidence)
    away = points - region.mean_mm
    square = np.einsum("ij,ij->i", away, np.linalg.solve(region.covariance_mm2, away.T).T)
    np.testing.assert_allclose(square, 7.815, rtol=2e-3)
    a, b, c = np.moveaxis(away[faces], 1, 0)
    volume = np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0
    assert volume == pytest.approx(4.0 / 3.0 * np.pi * region.half_axes_mm.prod(), rel=0.01)


def test_the_scene_has_every_estimate_where_it_is(report: CentreReport, tooth_scene: Scene) -> None:
    assert [p.name for p in tooth_scene.points] == [
        "rule of thumb (fallback)", "furcation", "fraction of root length", "centroid of root surface",
        "elastic foundation", "thin layer",
    ]  # fmt: skip
    for point, result in zip(tooth_scene.points, report.methods.values(), strict=True):
        np.testing.assert_array_equal(point.at_mm, result.point_mm)
    assert set(tooth_scene.groups()) == {TOOTH, ESTIMATES, REGION, AXES}


def test_the_crest_drawn_runs_below_the_cervical_line_as_told(
    report: CentreReport, tooth_scene: Scene
) -> None:
    assert report.anatomy is not None
    crest = next(line for line in tooth_scene.lines if line.name == "crest").points_mm
    np.testing.assert_allclose(report.anatomy.below_line_mm(crest).mean(), 0.75, atol=0.03)
    np.testing.assert_array_equal(crest[0], crest[-1])


def test_axes_of_a_molar_are_those_of_the_frame_and_of_an_incisor_its_own(report: CentreReport) -> None:
    own, frame = axes_of_tooth(report), report.best_ligament
    assert own is not None
    assert frame is not None
    assert own.miss_mm == pytest.approx(frame.axes_of_resistance().miss_mm)
    np.testing.assert_array_equal(tooth_directions(report).distal, [0.0, 1.0, 0.0])
    front = tooth_directions(replace(report, tooth=ToothNumber(21)))
    assert report.anatomy is not None
    assert front.distal[2] == pytest.approx(0.0)
    assert front.distal @ report.anatomy.mesial_axis < -0.9
    assert front.buccal @ report.anatomy.buccal_axis > 0.9


# The views


UPPER = ToothDirections(np.array([0.0, 0, 1]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0]))
LOWER = ToothDirections(np.array([0.0, 0, -1]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0]))
SIDES: tuple[ToothSide, ...] = ("buccal", "lingual", "mesial", "distal", "apex")


@pytest.mark.parametrize("directions", [UPPER, LOWER])
def test_left_and_right_from_the_apex_are_as_from_buccal(
    tooth_scene: Scene, directions: ToothDirections
) -> None:
    views = {w: tooth_view(tooth_scene, directions, w, width_over_height=0.9) for w in SIDES}
    np.testing.assert_allclose(views["apex"].right, views["buccal"].right)
    np.testing.assert_allclose(views["apex"].forward, -directions.apical)
    for where in SIDES[:4]:
        np.testing.assert_allclose(views[where].up, [0.0, 0.0, 1.0])
    np.testing.assert_allclose(views["mesial"].forward, directions.distal)
    points = tooth_scene.surfaces[0].points_mm
    for view in views.values():
        assert (np.abs(view.flat(points)) <= [view.half_width_mm, view.half_height_mm]).all()


@pytest.mark.parametrize("where", ["buccal", "mesial", "apex"])
@pytest.mark.parametrize("near", [True, False])
def test_names_do_not_cover_each_other(
    report: CentreReport, tooth_scene: Scene, where: ToothSide, near: bool
) -> None:
    wide = 0.9
    groups = (ESTIMATES, REGION) if near else (TOOTH, AXES, REGION)
    if near:
        scene = nearer(tooth_scene, glyph_mm=0.2)
        view = estimates_view(
            scene, tooth_directions(report), where, width_over_height=wide, column_share=0.3
        )
    else:
        scene = tooth_scene
        view = tooth_view(scene, tooth_directions(report), where, width_over_height=wide, column_mm=5.4)
    figure = blank((5.8, 5.8 / wide), 100)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(-view.half_width_mm, view.half_width_mm), ylim=(-view.half_height_mm, view.half_height_mm))
    annotate(axes, scene, view, font_pt=9.5, groups=groups)
    figure.canvas.draw()
    boxes = {t.get_text(): t.get_bbox_patch().get_window_extent() for t in axes.texts if t.get_bbox_patch()}
    assert len(boxes) >= (7 if near else 6)
    names = sorted(boxes)
    for k, one in enumerate(names):
        assert boxes[one].x0 >= -1
        assert boxes[one].x1 <= 581
        for other in names[k + 1 :]:
            assert not boxes[one].padded(-1.0).overlaps(boxes[other].padded(-1.0)), (one, other)


# Pressure


def test_the_ligament_carries_the_force_and_its_moment(loads: tuple[LoadedRoot, ...]) -> None:
    """Elementary statics: what the ligament does to the tooth balances the load, about any point."""
    for load in loads:
        carried = load.pressure.traction_mpa * load.root.areas_mm2[:, None]
        np.testing.assert_allclose(carried.sum(axis=0), -load.force_n, atol=1e-9)
        arms = load.root.face_centres_mm - load.through_mm
        np.testing.assert_allclose(np.cross(arms, carried).sum(axis=0), 0.0, atol=1e-6)
        np.testing.assert_allclose(load.force_n, [0.0, 1.0, 0.0])


def test_along_the_axis_of_resistance_nothing_tips_and_the_pressure_is_lower(
    loads: tuple[LoadedRoot, ...],
) -> None:
    crown, axis = loads
    tip = np.abs(crown.pressure.motion[3])
    assert np.abs(axis.pressure.motion[[3, 5]]).max() < 1e-9 * tip
    assert crown.pressure.motion[3] > 0.0  # about +x: what lies below the centre, the crown, goes back (+y)
    assert axis.largest_kpa < 0.5 * crown.largest_kpa
    towards = axis.root.area_vectors_mm2[:, 1]
    assert np.average(axis.pressure_kpa, weights=np.maximum(towards, 0.0)) > 0.0  # distal side squeezed
    assert np.average(axis.pressure_kpa, weights=np.maximum(-towards, 0.0)) < 0.0  # mesial side stretched


def test_99_percent_of_the_area_lies_below_the_size_told(loads: tuple[LoadedRoot, ...]) -> None:
    for load in loads:
        areas = load.root.areas_mm2
        below = areas[np.abs(load.pressure_kpa) <= load.largest_kpa].sum() / areas.sum()
        assert below == pytest.approx(0.99, abs=0.002)


def test_smoothing_the_colours_keeps_an_even_pressure_even(loads: tuple[LoadedRoot, ...]) -> None:
    load = loads[0]
    even = replace(load.pressure, pressure_mpa=np.full(len(load.root.faces), 0.003))
    np.testing.assert_allclose(replace(load, pressure=even).smoothed_kpa, 3.0)
    assert np.abs(load.smoothed_kpa).max() <= np.abs(load.pressure_kpa).max()


@pytest.mark.parametrize("seen_by", BLINDNESS)
def test_squeezed_and_stretched_are_told_apart_by_everyone(seen_by: str) -> None:
    squeezed, none, stretched = pressure_colours([6.0, 0.0, -6.0], limit_kpa=10.0)
    for one, other in ((squeezed, none), (stretched, none), (squeezed, stretched)):
        distance = np.linalg.norm(lab(hex_colour(one), seen_by) - lab(hex_colour(other), seen_by))
        assert distance > 15.0


def test_colours_are_near_white_at_zero_and_stay_at_the_ends() -> None:
    colours = pressure_colours([-30.0, -10.0, 0.0, 10.0, 30.0], limit_kpa=10.0)
    np.testing.assert_array_equal(colours[0], colours[1])
    np.testing.assert_array_equal(colours[3], colours[4])
    assert np.ptp(colours[2]) < 0.01
    assert colours[2].min() > 0.95


ROUND = [(28.0, 30.0), (4.7, 5.0), (39.2, 40.0), (0.11, 0.15), (9.1, 10.0), (1.0, 1.0)]


@pytest.mark.parametrize(("largest", "limit"), ROUND)
def test_limits_of_the_scale_are_round(largest: float, limit: float) -> None:
    assert round_limit(largest) == pytest.approx(limit)


def test_the_mesial_side_is_drawn_blue_and_the_distal_red(
    report: CentreReport, loads: tuple[LoadedRoot, ...], window: str
) -> None:
    scene = scene_of_load(report, loads[1], limit_kpa=round_limit(loads[1].largest_kpa))
    for where, channel in (("mesial", 2), ("distal", 0)):
        view = tooth_view(scene, tooth_directions(report), where, width_over_height=0.8)  # type: ignore[arg-type]
        pixels = picture(scene, view, width_px=160, height_px=200, window=window).astype(int)
        roots = pixels[30:90].reshape(-1, 3)
        coloured = roots[np.abs(roots[:, 2] - roots[:, 0]) > 60]
        assert len(coloured) > 500
        assert (coloured.argmax(axis=1) == channel).mean() > 0.9


# The chart and the page


def test_bands_are_the_samples_middle_and_the_published_scatter(report: CentreReport) -> None:
    """Gandhi V et al. 2021 AJODO 160:442-450: SD 1.75 apical, 2.26 distal, 1.51 lingual about the trifurcation; 1.96
    standard deviations hold 95 % of a normal distribution (standard tables)."""
    found = estimates_along(report)
    furcation, foundation, rule = (found.row(n) for n in ("furcation", "elastic_foundation", "rule_of_thumb"))
    assert found.origin == "furcation"
    assert furcation is not None
    assert foundation is not None
    assert rule is not None
    half = [furcation.places[a].high_mm for a in ALONG]
    np.testing.assert_allclose(half, 1.96 * np.array([1.75, 2.26, 1.51]), rtol=1e-3)
    assert (furcation.bands, foundation.bands, rule.bands) == ("published", "samples", "none")
    assert report.confidence is not None
    apical = report.confidence.uncertainty.draws.centres_mm[:, 2] - found.origin_mm[2]
    place = foundation.places["apical"]
    assert ((apical >= place.low_mm) & (apical <= place.high_mm)).mean() == pytest.approx(0.95, abs=0.02)
    away = report.methods["elastic_foundation"].point_mm - report.methods["furcation"].point_mm
    np.testing.assert_allclose(
        [foundation.places[a].value_mm for a in ALONG], [away[2], away[1], -away[0]], atol=1e-12
    )
    assert place_words(foundation).endswith("buccal")


def test_without_a_furcation_the_origin_is_the_cervical_line(report: CentreReport) -> None:
    assert report.anatomy is not None
    lone = replace(report, anatomy=replace(report.anatomy, trifurcation_mm=None))
    found = estimates_along(lone)
    assert found.origin == "middle of the cervical line"
    np.testing.assert_allclose(found.origin_mm, report.anatomy.cervical_line_mm.mean(axis=0))
    crown = replace(report, anatomy=None, root=None)
    assert estimates_along(crown).origin == "rule of thumb"
    assert loaded_roots(crown) == ()


def test_the_page_stands_alone_and_says_everything(
    report: CentreReport, loads: tuple[LoadedRoot, ...]
) -> None:
    page = centre_html(
        replace(report, warnings=("Mind <this>.",), findings=("unit checked",)),
        estimates_along(report), loads, {"centre.png": b"\x89PNG"},
    )  # fmt: skip
    for wanted in ("elastic foundation", "0.4 of the way from the alveolar crest", "Gandhi V", "Mind &lt;this&gt;.",
                   "unit checked", "can blind", "SHA-256 " + report.sha256, "error of the scan", "Radius of resistance",
                   "data:image/png;base64,iVBORw=="):  # fmt: skip
        assert wanted in page, wanted
    assert not re.search(r"(src|href)=\"(?!data:)", page)
    assert "<script" not in page


# The folder


@pytest.fixture
def flat(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(centre_folder, "drawing_probe", lambda: DrawingProbe(None))


@pytest.mark.usefixtures("flat")
def test_the_command_fills_the_folder_and_says_what_is_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "centre"
    words = ["centre", str(MOLAR), "--tooth", "26", "--axes", "LPS", "--samples", "64", "--out", str(out)]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert NO_DRAWING in said
    assert said.rstrip().endswith(f"Written to {out}.")
    assert {p.name for p in out.iterdir()} == {
        "centre.json", "centre.csv", "centre.html", "root.ply", "centre.png", "estimates.png", "ligament.png",
    }  # fmt: skip
    for name in ("centre.png", "estimates.png", "ligament.png"):
        pixels = np.asarray(Image.open(out / name).convert("L"))
        assert pixels.shape[1] > 2000
        assert 0.02 < (pixels < 200).mean() < 0.6


@pytest.mark.usefixtures("flat")
def test_a_failure_leaves_no_folder(
    report: CentreReport, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(centre_folder, "_draw", full)
    with pytest.raises(OSError, match="no space left"):
        write_centre_folder(report, tmp_path / "centre", progress=lambda _: None)
    assert list(tmp_path.iterdir()) == []
