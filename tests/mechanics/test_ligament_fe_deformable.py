"""Elastic tooth and bone around the ligament: the rigid limit, a beam on an elastic bed, and what rigidity costs."""

from __future__ import annotations

import numpy as np
import pytest
from fe_shapes import cylinder, paraboloid

from mechanics.ligament_fe import deformable_check, fe_stiffness
from mechanics.ligament_fe.deformable import BONE, DENTINE


def guided_beam_on_bed(*, bending: float, bed: float, half_length: float) -> float:
    """Force per unit shift of both ends of an Euler beam on a Winkler bed, ends kept from turning (M. Hetenyi, 1946).

    By symmetry w = A cosh bx cos bx + B sinh bx sin bx with b = (k / 4 EI)^(1/4); both ends together.
    """
    b = (bed / (4.0 * bending)) ** 0.25
    x = b * half_length
    c, s = np.cosh(x) * np.cos(x), np.sinh(x) * np.sin(x)
    p, q = np.sinh(x) * np.cos(x), np.cosh(x) * np.sin(x)
    shares = np.linalg.solve([[c, s], [p - q, p + q]], [1.0, 0.0])
    return float(abs(2.0 * bending * 2.0 * b**3 * (shares @ [-(p + q), p - q])))


def test_stiff_tooth_and_bone_give_the_rigid_answer() -> None:
    points, faces = paraboloid(radius=4.0, height=13.0, around=10, along=6)
    costs = []
    for factor in (1.0, 10.0, 100.0):
        check = deformable_check(
            points,
            faces,
            e_mpa=0.68,
            nu=0.45,
            dentine=(factor * DENTINE[0], DENTINE[1]),
            bone=(factor * BONE[0], BONE[1]),
        )
        assert check.residual < 1e-9
        costs.append([1.0 - check.stiffness[0, 0] / check.rigid_stiffness[0, 0], check.centre_shift_mm[2]])
    rigid = fe_stiffness(points, faces, e_mpa=0.68, nu=0.45).stiffness
    assert check.rigid_stiffness == pytest.approx(rigid, rel=1e-9, abs=1e-6)
    assert np.array(costs[1]) == pytest.approx(10.0 * np.array(costs[2]), rel=0.05)
    assert costs[0][0] > costs[1][0] > costs[2][0] > 0.0
    assert abs(costs[2][1]) < 0.005


def test_a_long_root_bends_like_a_beam_on_an_elastic_bed() -> None:
    """Long dentine tube in a stiff socket, both ends carried; its second moment exact, the bed from the rigid K."""
    radius, length, e, nu, thickness, wall, sides = 1.0, 80.0, 0.07, 0.3, 0.2, 0.6, 8
    points, faces = cylinder(radius=radius, height=length, around=sides, along=26)
    check = deformable_check(
        points,
        faces,
        e_mpa=e,
        nu=nu,
        thickness_mm=thickness,
        bone=(1e8, 0.3),
        wall_mm=wall,
        shell_mm=0.2,
        target_faces=10_000,
    )
    turn = 2.0 * np.pi / sides
    inner = radius - wall / np.cos(0.5 * turn)
    bending = DENTINE[0] * sides / 24.0 * np.sin(turn) * (2.0 + np.cos(turn)) * (radius**4 - inner**4)
    bed = check.rigid_stiffness[0, 0] / length
    expected = guided_beam_on_bed(bending=bending, bed=bed, half_length=length / 2.0)
    assert check.stiffness[0, 0] == pytest.approx(expected, rel=0.03)
    assert check.stiffness[0, 0] < 0.5 * check.rigid_stiffness[0, 0]


def test_rigidity_costs_little_for_a_soft_ligament_and_more_near_incompressibility() -> None:
    """Ligament of Kojima and Fukui 2005 (0.13 MPa, nu 0.45): under 0.1 mm on the paraboloid; the cost follows E."""
    points, faces = paraboloid(radius=4.0, height=13.0, around=10, along=6)
    soft = deformable_check(points, faces, e_mpa=0.13, nu=0.45)
    stiff = deformable_check(points, faces, e_mpa=0.68, nu=0.49)
    assert np.linalg.norm(soft.centre_shift_mm) < 0.1
    assert soft.centre_shift_mm[2] < 0.0
    assert stiff.centre_shift_mm[2] < 3.0 * soft.centre_shift_mm[2]


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"dentine": (-1.0, 0.3)}, r"E in \(0, 1e9\) MPa .* got -1 MPa"),
        ({"bone": (1.0, 0.5)}, r"nu in \[0, 0\.5\); got 1 MPa, 0\.5"),
        ({"shell_mm": 50.0}, r"must lie in \[0\.05, 5\] mm; got 1\.5 and 50"),
    ],
)
def test_bad_materials_and_widths_are_refused(change: dict[str, object], text: str) -> None:
    points, faces = paraboloid(radius=4.0, height=13.0, around=10, along=6)
    wanted: dict[str, object] = {"e_mpa": 0.68, "nu": 0.45, **change}
    with pytest.raises(ValueError, match=text):
        deformable_check(points, faces, **wanted)  # type: ignore[arg-type]
