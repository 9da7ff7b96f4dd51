"""No layer is given up for one bad face: slivers are avoided, directions and thickness adapted, the root mended."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fe_shapes import disc, paraboloid

from mechanics.ligament_fe import deformable_check, fe_stiffness
from mechanics.ligament_fe.coarsen import coarsened
from mechanics.ligament_fe.deformable import BONE, DENTINE, elastic_stack
from mechanics.ligament_fe.flips import slenderness, without_slivers
from mechanics.ligament_fe.mending import mended
from mechanics.ligament_fe.offset import LayerFoldsError, _following, bone_side, face_vectors
from mechanics.ligament_fe.root import Root
from mechanics.ligament_fe.stack import numbered, wedge_groups
from mesh_tools.arrays import Array, IntArray

TEETH = Path(__file__).parents[3] / "shared" / "meshes" / "teeth"
MATERIALS = (DENTINE, (0.68, 0.45), BONE)


def dented_root() -> Root:
    """Paraboloid with noisy points and two points dragged almost onto the line between their neighbours."""
    points, faces = paraboloid(radius=4.0, height=13.0, around=40, along=34)
    inside = (points[:, 2] > 0.5) & (points[:, 2] < 12.0)
    points = points + 0.02 * inside[:, None] * np.random.default_rng(5).normal(size=points.shape)
    for at in (205, 411):
        points[at] = 0.51 * points[at - 1] + 0.49 * points[at + 1]
    return Root(points, faces, np.full(len(points), 0.2))


def test_slenderness_of_known_triangles() -> None:
    """Equilateral: sqrt(3)/2; a right one with legs 3, 4: height 12/5 on side 5; three points on a line: 0."""
    corners = np.zeros((3, 3, 3))
    corners[0, 1:, :2] = [[1.0, 0.0], [0.5, np.sqrt(0.75)]]
    corners[1, 1:, :2] = [[3.0, 0.0], [0.0, 4.0]]
    corners[2, 1:, :2] = [[1.0, 0.0], [3.0, 0.0]]
    assert slenderness(corners) == pytest.approx([np.sqrt(0.75), 12.0 / 25.0, 0.0])


def test_the_long_diagonal_of_a_flat_kite_is_turned() -> None:
    points = np.array([[0, 0, 0], [4.0, 0, 0], [2.0, 0.4, 0], [2.0, -0.4, 0], [2.0, 3.0, 0], [2.0, -3.0, 0]])
    faces = np.array([[0, 1, 2], [1, 0, 3], [2, 1, 4], [0, 2, 4], [0, 5, 3], [3, 5, 1]])
    turned = without_slivers(Root(points, faces, np.full(6, 0.2)))
    assert {tuple(sorted(f)) for f in turned.faces.tolist()} >= {(0, 2, 3), (1, 2, 3)}
    assert face_vectors(points, turned.faces)[:, 2] == pytest.approx(
        np.abs(face_vectors(points, turned.faces)[:, 2])
    )
    assert face_vectors(points, turned.faces).sum(axis=0) == pytest.approx(
        face_vectors(points, faces).sum(axis=0)
    )


@pytest.mark.parametrize("target", [300, 800, 1600])
def test_coarsening_makes_no_slivers(target: int) -> None:
    few = coarsened(dented_root(), target_faces=target)
    assert len(few.faces) <= target
    assert slenderness(few.points_mm[few.faces]).min() > 0.1


def test_best_direction_in_a_corner_of_three_walls() -> None:
    """Normals x, y, z and a spare one between them: the direction (1, 1, 1), which follows each by 1/sqrt(3)."""
    points = np.vstack([np.zeros(3), np.eye(3)])
    faces = np.array([[0, 2, 3], [0, 3, 1], [0, 1, 2]])
    way = _following(points, faces, np.array([0]))[0]
    assert way / np.linalg.norm(way) == pytest.approx(np.full(3, 1.0 / np.sqrt(3.0)), abs=1e-6)


def test_a_sliver_does_not_stop_a_thick_layer() -> None:
    """Dentine 1.5 mm thick inward from a surface with points dragged out of place: every wedge keeps its sense."""
    root = dented_root()
    stack = elastic_stack(root, materials=MATERIALS, wall_mm=1.5, shell_mm=1.0)
    assert all(len(group.numbers) for group in wedge_groups(stack, numbered(stack)))


def test_a_pit_is_smoothed_until_the_layer_fits() -> None:
    """Deeper than 1 mm it is refused here; away from it nothing moves, and the root keeps its faces."""
    points, faces = disc(radius=3.0, rings=9)
    pit = points.copy()
    pit[0, 2] = -1.4

    def shallow(root: Root) -> float:
        if root.points_mm[0, 2] < -1.0:
            raise LayerFoldsError("too deep", np.array([0]))
        return float(bone_side(root.points_mm, root.faces, root.thickness_mm).thickness_mm.min())

    used, thinnest, moved = mended(Root(pit, faces, np.full(len(points), 0.2)), shallow)
    assert 0.4 < moved < 1.4
    far = np.linalg.norm(points, axis=1) > 1.0
    assert used.points_mm[far] == pytest.approx(pit[far], abs=0.0)
    assert thinnest > 0.0
    assert (used.faces == faces).all()


def test_what_cannot_be_mended_is_refused() -> None:
    points, faces = paraboloid(radius=4.0, height=13.0, around=10, along=6)
    tried = []

    def never(root: Root) -> None:
        tried.append(len(root.faces))
        raise LayerFoldsError("it folds", np.array([3]))

    with pytest.raises(ArithmeticError, match="it folds"):
        mended(Root(points, faces, np.full(len(points), 0.2)), never)
    assert len(set(tried)) > 3


@pytest.fixture(scope="module", params=["maxillary-first-molar", "maxillary-third-molar"])
def real_root(request: pytest.FixtureRequest) -> tuple[Array, IntArray]:
    """Supported roots of open upper molars with fused or near roots."""
    path = TEETH / f"{request.param}_mm_12k.stl"
    if not path.exists():
        pytest.skip("the folder of open meshes is not beside the project")
    from casework.estimating import estimate_from_file

    tooth = 26 if "first" in path.name else 28
    root = estimate_from_file(path, tooth=tooth, axes="LSA", methods=["root_centroid"]).needed_root()
    return root.points_mm, root.faces


def test_real_roots_take_every_level(real_root: tuple[Array, IntArray]) -> None:
    """Each was refused for one face in a thousand before."""
    points, faces = real_root
    for target in (1000, 1500, 3000):
        few = coarsened(Root(points, faces, np.full(len(points), 0.2)), target_faces=target)
        used, side, moved = mended(few, lambda r: bone_side(r.points_mm, r.faces, r.thickness_mm))
        assert moved < 0.3
        assert np.median(side.thickness_mm) == pytest.approx(0.2)
        assert len(used.faces) > 0.8 * target


@pytest.mark.slow
def test_elastic_tooth_and_bone_on_a_real_molar(real_root: tuple[Array, IntArray]) -> None:
    check = deformable_check(*real_root, e_mpa=0.68, nu=0.45, target_faces=700)
    rigid = fe_stiffness(*real_root, e_mpa=0.68, nu=0.45, target_faces=700).stiffness
    assert check.residual < 1e-9
    assert np.diag(check.rigid_stiffness) == pytest.approx(np.diag(rigid), rel=0.05)
    assert 0.02 < np.linalg.norm(check.centre_shift_mm) < 0.5
