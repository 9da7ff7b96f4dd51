"""The marks on the cheek of a plan: shapes with closed forms, LPS out whatever the treatment frame, refusals told."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from casework.cheek import CheekFinding, cheek_findings
from casework.plan import CheekMarks, SidePlan
from mechanics.sides import Side
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface
from tests.mechanics.skin_shapes import sheet

TUBE, RULE, TARGET = np.array([30.0, -3.0, -2.0]), np.array([25.0, -1.0, 8.0]), np.array([24.0, 0.5, 7.0])


def side_plan(turn: Array) -> SidePlan:
    """What the cheek reads of a side's plan, given in the treatment frame and turned to LPS."""
    rule = SimpleNamespace(tube_mesial_mm=TUBE @ turn, point_mm=RULE @ turn)
    return cast(SidePlan, SimpleNamespace(rule=rule, target_mm=TARGET @ turn))


def finding(skin: Surface | None, turn: Any = None, side: Side = "left") -> CheekFinding:
    rotation = np.eye(3) if turn is None else np.asarray(turn)
    lps = None if skin is None else skin.moved(rotation.T)
    return cheek_findings(lps, {side: side_plan(rotation)}, rotation=rotation)[side]


def marks(skin: Surface, turn: Any = None) -> CheekMarks:
    found = finding(skin, turn).marks
    assert found is not None
    return found


def test_a_flat_cheek_gives_the_distances_of_side_view() -> None:
    found = marks(sheet(lambda y, z: 52.0))
    assert (found.up_mm, found.back_mm) == pytest.approx((9.0, 3.5))
    assert (found.rule_up_mm, found.rule_back_mm) == pytest.approx((10.0, 2.0))
    np.testing.assert_allclose(found.mark_mm, [52.0, -3.0, -2.0], atol=1e-12)
    np.testing.assert_allclose(found.dot_mm, [52.0, 0.5, 7.0], atol=1e-12)
    np.testing.assert_allclose(found.rule_dot_mm, [52.0, -1.0, 8.0], atol=1e-12)
    assert found.depth_mm == pytest.approx(28.0)


def test_a_cheek_that_leans_out_by_an_angle_lengthens_up_by_its_cosine() -> None:
    found = marks(sheet(lambda y, z: 52.0 + z * np.tan(np.radians(25.0))))
    assert found.up_mm == pytest.approx(9.0 / np.cos(np.radians(25.0)), abs=1e-10)
    assert found.back_mm == pytest.approx(3.5, abs=1e-10)


def test_a_round_cheek_gives_arcs() -> None:
    radius = 45.0
    found = marks(sheet(lambda y, z: np.sqrt(radius**2 - y**2 - z**2) + 8.0, n=120))
    up = np.sqrt(radius**2 - 3.0**2)
    back = np.sqrt(radius**2 - 7.0**2)
    assert found.up_mm == pytest.approx(up * (np.arcsin(7.0 / up) + np.arcsin(2.0 / up)), abs=2e-3)
    assert found.back_mm == pytest.approx(back * (np.arcsin(0.5 / back) + np.arcsin(3.0 / back)), abs=2e-3)


def test_a_dot_below_or_ahead_of_the_mark_has_negative_numbers() -> None:
    plan = side_plan(np.eye(3))
    plan.rule.tube_mesial_mm[:] = [30.0, 4.0, 11.0]
    found = cheek_findings(sheet(lambda y, z: 52.0), {"left": plan}, rotation=np.eye(3))["left"].marks
    assert found is not None
    assert (found.up_mm, found.back_mm) == pytest.approx((-4.0, -3.5))


def test_marks_come_back_in_lps_and_their_numbers_do_not_turn() -> None:
    skin = sheet(lambda y, z: 52.0 + 0.2 * z - 0.01 * y**2, n=60)
    turn = Rotation.from_euler("xyz", [9.0, -4.0, 6.0], degrees=True).as_matrix()
    plain, turned = marks(skin), marks(skin, turn)
    assert (turned.up_mm, turned.back_mm) == pytest.approx((plain.up_mm, plain.back_mm), abs=1e-9)
    for name in ("mark_mm", "dot_mm", "rule_dot_mm", "path_mm"):
        np.testing.assert_allclose(getattr(turned, name), getattr(plain, name) @ turn, atol=1e-9)


def test_the_path_leads_from_the_mark_to_the_dot_and_is_as_long_as_up_and_back() -> None:
    found = marks(sheet(lambda y, z: 52.0 - 0.01 * (y**2 + z**2), n=60))
    np.testing.assert_allclose(found.path_mm[[0, -1]], [found.mark_mm, found.dot_mm])
    length = np.linalg.norm(np.diff(found.path_mm, axis=0), axis=1).sum()
    assert length == pytest.approx(found.up_mm + found.back_mm)


def test_without_a_face_scan_there_are_no_marks_and_nothing_is_told() -> None:
    found = finding(None)
    assert (found.marks, found.warnings) == (None, ())


def test_a_hole_where_the_dot_falls_is_one_warning_and_no_marks() -> None:
    skin = sheet(lambda y, z: 52.0, n=80)
    away = np.linalg.norm(skin.face_centres_mm[:, 1:] - TARGET[1:], axis=1)
    found = finding(skin.with_faces(away > 1.0))
    assert found.marks is None
    assert len(found.warnings) == 1
    assert "no skin beside the target" in found.warnings[0]


def test_a_hole_between_the_marks_is_told_with_its_width() -> None:
    skin = sheet(lambda y, z: 52.0, n=80)
    z = skin.face_centres_mm[:, 2]
    found = finding(skin.with_faces((z < 0.0) | (z > 4.0)))
    assert found.marks is not None
    assert found.marks.up_mm == pytest.approx(9.0)
    assert len(found.warnings) == 1
    assert "a hole of 4 mm" in found.warnings[0]


def test_a_molar_outside_the_face_is_told() -> None:
    found = finding(sheet(lambda y, z: 20.0))
    assert found.marks is None
    assert len(found.warnings) == 1
    assert "outside the skin" in found.warnings[0]
