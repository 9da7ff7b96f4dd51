"""Parts of the ligament's finite elements: wedges, offset, thickness, coarsening, elimination."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy.sparse as sparse
from fe_shapes import cylinder, disc, paraboloid, tube_faces
from scipy.sparse.linalg import splu

from mechanics.ligament_fe import fe_stiffness, hour_glass_thickness, thickness_from_socket
from mechanics.ligament_fe.assembly import lame, wedge_blocks, wedge_gradients
from mechanics.ligament_fe.checks import checked_root
from mechanics.ligament_fe.coarsen import coarsened
from mechanics.ligament_fe.dissection import face_tree
from mechanics.ligament_fe.fronts import pivoted
from mechanics.ligament_fe.nodes import surface_nodes
from mechanics.ligament_fe.offset import bone_side, face_vectors, offset_directions
from mechanics.ligament_fe.root import Root
from mechanics.ligament_fe.solve import solved
from mechanics.ligament_fe.stack import LayerStack, ligament_stack, numbered, wedge_groups
from mechanics.ligament_fe.wedge import reference_wedge
from mesh_tools.arrays import Array, IntArray
from mesh_tools.self_crossing import self_crossings
from mesh_tools.surface import Surface

MOLAR = Path(__file__).parents[3] / "shared" / "meshes" / "teeth" / "maxillary-first-molar_mm_12k.stl"


class TestWedge:
    def test_functions_sum_to_one_and_gradients_to_zero(self) -> None:
        wedge = reference_wedge()
        assert wedge.motion.sum(axis=1) == pytest.approx(1.0)
        assert wedge.pressure.sum(axis=1) == pytest.approx(1.0)
        assert np.abs(wedge.motion_gradient.sum(axis=1)).max() < 1e-13
        assert np.abs(wedge.shape_gradient.sum(axis=1)).max() < 1e-13

    def test_mass_of_the_quadratic_functions(self) -> None:
        """Integrals: 0 at corners and 1/6 at side middles of a P2 triangle, times Simpson's 1/6, 4/6, 1/6."""
        wedge = reference_wedge()
        triangle = np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0]) / 6.0
        simpson = np.array([1.0, 4.0, 1.0]) / 6.0
        assert wedge.weights @ wedge.motion == pytest.approx(np.outer(simpson, triangle).ravel(), abs=1e-14)

    @pytest.mark.parametrize("nu", [0.0, 0.3, 0.499])
    def test_patch_of_bent_wedges_holds_a_linear_field_exactly(self, nu: float) -> None:
        """Patch test: constant strain leaves no force on any node inside a distorted two-layer patch."""
        rng = np.random.default_rng(3)
        points, faces = disc(radius=1.0, rings=3)
        points = points + 0.05 * rng.normal(size=points.shape)
        nodes = surface_nodes(faces, len(points))
        low = nodes.with_middles(points)
        sides = [low + nodes.with_middles(0.3 * k + 0.03 * rng.normal(size=points.shape)) for k in range(3)]
        sides = [low + (s - low) * [0.3, 0.3, 1.0] for s in sides]
        slope = rng.normal(size=(3, 3))
        mu, lam = lame(e_mpa=1.0, nu=nu)
        forces, squeezes = np.zeros((5, nodes.count, 3)), []
        for layer in range(2):
            low, high = sides[layer], sides[layer + 1]
            at = nodes.triangles
            blocks = wedge_blocks(
                wedge_gradients(low[at], high[at]),
                np.zeros((len(at), 18, 3, 6)),
                planes=(0, 1, 2),
                mu_mpa=mu,
                lambda_mpa=lam,
            )
            place = np.concatenate([low[at], 0.5 * (low + high)[at], high[at]], axis=1)
            motion = np.einsum("ij,mnj->mni", slope, place).reshape(len(at), -1)
            pressure = np.full((len(at), 6), np.sqrt(lam) * np.trace(slope))
            load = np.einsum("mij,mj->mi", blocks.matrix, np.concatenate([motion, pressure], axis=1))
            for plane in range(3):
                np.add.at(
                    forces[2 * layer + plane], at, load[:, 18 * plane : 18 * plane + 18].reshape(-1, 6, 3)
                )
            squeezes.append(load[:, 54:])
        inside = ~nodes.rim
        assert np.abs(forces[1:4][:, inside]).max() < 1e-12
        assert np.abs(forces[0]).max() > 1e-3
        assert np.abs(squeezes).max() < 1e-12

    def test_inside_out_is_refused(self) -> None:
        points, faces = disc(radius=1.0, rings=2)
        nodes = surface_nodes(faces, len(points))
        low = nodes.with_middles(points)
        with pytest.raises(ArithmeticError, match="24 of 24 wedges are turned inside out"):
            wedge_gradients(low[nodes.triangles], (low - [0.0, 0.0, 0.1])[nodes.triangles])


class TestElimination:
    @pytest.mark.parametrize(("layers", "leaf"), [(1, 12), (1, 3), (2, 12)])
    def test_fronts_agree_with_a_general_sparse_solver(self, layers: int, leaf: int) -> None:
        stack = stack_of(*paraboloid(radius=4.0, height=13.0, around=14, along=10), nu=0.49, layers=layers)
        numbers = numbered(stack)
        matrix, load, energy = assembled(stack)
        x = splu(matrix).solve(-load)
        answer = solved(stack, numbers)
        assert answer.unknowns == pytest.approx(x, rel=1e-8, abs=1e-9 * np.abs(x).max())
        assert answer.stiffness == pytest.approx(energy + load.T @ x, rel=1e-9, abs=1e-6)
        assert answer.residual < 1e-12
        steps = face_tree(np.random.default_rng(0).normal(size=(50, 3)), leaf=leaf).steps
        assert sorted(np.concatenate([s for s in steps if s is not None])) == list(range(50))
        assert sum(s is None for s in steps) == sum(s is not None for s in steps) - 1

    def test_an_indefinite_matrix_is_refused(self) -> None:
        rest = np.ones((3, 2))
        factor, divided = pivoted(4.0 * np.eye(3), rest)
        assert factor == pytest.approx(2.0 * np.eye(3))
        assert divided == pytest.approx(0.5 * rest)
        with pytest.raises(ArithmeticError, match="must be definite; a pivot is not"):
            pivoted(np.diag([1.0, -1e-3, 1.0]), rest)


def stack_of(points: Array, faces: IntArray, *, nu: float, layers: int) -> LayerStack:
    """Ligament of 0.2 mm on a surface."""
    nodes = surface_nodes(faces, len(points))
    outer = bone_side(points, faces, np.full(len(points), 0.2)).points_mm
    mu, lam = lame(e_mpa=1.0, nu=nu)
    return ligament_stack(
        nodes,
        nodes.with_middles(points),
        nodes.with_middles(outer),
        layers=layers,
        mu_mpa=mu,
        lambda_mpa=lam,
    )


def assembled(stack: LayerStack) -> tuple[sparse.csc_matrix, Array, Array]:
    """Matrix, load and energy by a loop over wedges."""
    numbers = numbered(stack)
    matrix = sparse.lil_matrix((numbers.count, numbers.count))
    load, energy = np.zeros((numbers.count, 6)), np.zeros((6, 6))
    for group in wedge_groups(stack, numbers):
        energy += group.blocks.energy
        for at, local, right in zip(group.numbers, group.blocks.matrix, group.blocks.load, strict=True):
            free = at >= 0
            matrix[np.ix_(at[free], at[free])] += local[np.ix_(free, free)]
            load[at[free]] += right[free]
    return matrix.tocsc(), load, energy


class TestOffset:
    def test_faces_of_a_box_corner_all_move_by_the_thickness(self) -> None:
        """A square tube: at its four edges points move sqrt(2) as far as the faces."""
        points, faces = cylinder(radius=2.0, height=3.0, around=4, along=2)
        length = np.linalg.norm(offset_directions(points, faces), axis=1)
        assert length == pytest.approx(np.sqrt(2.0), rel=5e-3)
        side = bone_side(points, faces, np.full(len(points), 0.2))
        vectors = face_vectors(points, faces)
        normal = vectors / np.linalg.norm(vectors, axis=1)[:, None]
        moved = np.einsum("mkx,mx->mk", (side.points_mm - points)[faces], normal)
        assert moved == pytest.approx(0.2, rel=0.02)
        assert not side.narrowed.any()

    @pytest.mark.parametrize(("gap", "thickness"), [(1.0, 0.2), (0.3, 0.135), (0.1, 0.045)])
    def test_facing_walls_share_the_gap(self, gap: float, thickness: float) -> None:
        """Two plates, outward sides facing each other: under half of the gap each."""
        points, faces = disc(radius=3.0, rings=10)
        both = np.concatenate([points, points * [1.0, 1.0, -1.0] + [0.0, 0.0, gap]])
        side = bone_side(both, np.concatenate([faces, faces[:, ::-1] + len(points)]), np.full(len(both), 0.2))
        assert side.thickness_mm == pytest.approx(thickness, rel=0.02)
        assert side.narrowed.all() == (gap < 0.4)

    def test_two_near_roots_do_not_cross(self) -> None:
        """Two round roots 0.25 mm apart: the bone sides stay apart, and only the facing parts get thinner."""
        one, faces = cylinder(radius=2.0, height=6.0, around=36, along=18)
        points = np.concatenate([one, one + np.array([4.25, 0.0, 0.0])])
        side = bone_side(points, np.concatenate([faces, faces + len(one)]), np.full(len(points), 0.2))
        first, second = side.points_mm[: len(one)], side.points_mm[len(one) :]
        assert first[:, 0].max() < second[:, 0].min()
        facing = np.abs(one[:, 0] - 2.0) < 0.02
        assert side.thickness_mm[: len(one)][facing] == pytest.approx(0.45 * 0.25, rel=0.05)
        assert side.thickness_mm[: len(one)][one[:, 0] < 0.0] == pytest.approx(0.2, rel=1e-9)
        assert 0.02 < side.narrowed.mean() < 0.3

    def test_a_sharp_valley_is_not_folded(self) -> None:
        """A groove bent inward by 100 degrees over edges shorter than the thickness."""
        angle = np.linspace(-2.0, 2.0, 60)
        profile = np.column_stack([angle, np.abs(angle) ** 1.0 * 1.2])
        y = np.linspace(0.0, 3.0, 40)
        points = np.concatenate([np.column_stack([np.full(60, v), profile[:, 0], profile[:, 1]]) for v in y])
        i, j = np.meshgrid(np.arange(39), np.arange(59), indexing="ij")
        a = (i * 60 + j).ravel()
        faces = np.concatenate([np.stack([a, a + 60, a + 61], axis=1), np.stack([a, a + 61, a + 1], axis=1)])
        side = bone_side(points, faces, np.full(len(points), 0.2))
        nodes = surface_nodes(faces, len(points))
        inner, outer = nodes.with_middles(points), nodes.with_middles(side.points_mm)
        assert (wedge_gradients(inner[nodes.triangles], outer[nodes.triangles]).volume > 0.0).all()

    def test_doubling_back_is_refused(self) -> None:
        points, faces = disc(radius=1.0, rings=1)
        folded = points.copy()
        folded[[2, 3], 1] *= 0.999
        both = np.concatenate([faces, faces[:, ::-1]])
        with pytest.raises(ValueError, match="must not double back on itself; it does at 7 points"):
            offset_directions(folded, both)


class TestThickness:
    def test_hour_glass_is_thinnest_half_way(self) -> None:
        points, faces = paraboloid(radius=4.0, height=13.0, around=16, along=12)
        thickness = hour_glass_thickness(points, apical=[0.0, 0.0, 1.0])
        z = points[:, 2]
        assert thickness[np.argmax(z)] == thickness[np.argmin(z)] == pytest.approx(0.26)
        assert thickness == pytest.approx(0.16 + 0.1 * (2.0 * z / 13.0 - 1.0) ** 2)
        even = fe_stiffness(points, faces, e_mpa=1.0, nu=0.45, thickness_mm=float(thickness.mean())).stiffness
        waisted = fe_stiffness(points, faces, e_mpa=1.0, nu=0.45, thickness_mm=thickness).stiffness
        assert waisted[4, 4] != pytest.approx(even[4, 4], rel=0.01)
        with pytest.raises(ValueError, match=r"thinnest at mid-root; got middle 0\.3, ends 0\.2"):
            hour_glass_thickness(points, apical=[0.0, 0.0, 1.0], middle_mm=0.3, ends_mm=0.2)

    def test_a_socket_offset_by_a_known_field_gives_it_back(self) -> None:
        points, faces = paraboloid(radius=4.0, height=13.0, around=24, along=20)
        known = 0.2 + 0.05 * np.sin(points[:, 2])
        socket = bone_side(points, faces, known).points_mm
        measured = thickness_from_socket(points, faces, socket, faces[:, ::-1])
        assert measured == pytest.approx(known, rel=1e-6)
        fine = 0.4 * np.round(socket / 0.4)  # a coarse voxel-like socket still gives a thickness nearby
        assert np.median(np.abs(thickness_from_socket(points, faces, fine, faces) - known)) < 0.2

    def test_parts_outside_the_socket_take_their_neighbours_thickness(self) -> None:
        points, faces = cylinder(radius=3.0, height=10.0, around=36, along=20)
        socket = points * [3.25 / 3.0, 3.25 / 3.0, 0.82] + [0.0, 0.0, 2.0]
        thickness = thickness_from_socket(points, faces, socket, faces)
        assert thickness == pytest.approx(0.25 * np.cos(np.pi / 36) / 1.0, rel=0.03)
        with pytest.raises(ValueError, match="% of the root's points meet no bone within 1 mm"):
            thickness_from_socket(points, faces, socket + np.array([0.0, 0.0, 8.0]), faces)


class TestCoarsening:
    def test_fewer_faces_on_the_same_surface(self) -> None:
        points, faces = paraboloid(radius=4.0, height=13.0, around=60, along=50)
        rng = np.random.default_rng(2)
        points[:-60] += 1e-3 * rng.normal(size=(len(points) - 60, 3))
        root = checked_root(points, faces, 0.2)
        few = coarsened(root, target_faces=1500)
        assert 1300 < len(few.faces) <= 1500
        rim = surface_nodes(few.faces, len(few.points_mm)).rim[: len(few.points_mm)]
        assert np.abs(few.points_mm[rim, 2]).max() < 0.02
        assert few.thickness_mm == pytest.approx(0.2)
        x, y, z = few.points_mm[~rim].T
        assert np.abs(np.hypot(x, y) - 4.0 * np.sqrt(np.maximum(1.0 - z / 13.0, 0.0))).mean() < 0.02
        euler = len(few.points_mm) - len(surface_nodes(few.faces, len(few.points_mm)).edges) + len(few.faces)
        assert euler == 1

    def test_a_thin_tube_is_not_pinched_off(self) -> None:
        """Asked for far too few faces, a slender root keeps its kind of surface: one sheet, one rim, no crossing."""
        points, faces = paraboloid(radius=0.8, height=13.0, around=16, along=60)
        few = coarsened(Root(points, faces, np.full(len(points), 0.2)), target_faces=12)
        nodes = surface_nodes(few.faces, len(few.points_mm))
        assert len(few.faces) <= 12
        assert len(few.points_mm) - len(nodes.edges) + len(few.faces) == 1
        assert self_crossings(Surface(few.points_mm, few.faces)).count == 0
        assert np.ptp(few.points_mm[:, 2]) > 12.5

    def test_stiffness_hardly_changes(self) -> None:
        points, faces = paraboloid(radius=4.0, height=13.0, around=40, along=36)
        full = fe_stiffness(points, faces, e_mpa=1.0, nu=0.45).stiffness
        few = fe_stiffness(points, faces, e_mpa=1.0, nu=0.45, target_faces=900)
        assert len(few.faces) <= 900
        assert np.diag(few.stiffness)[:5] == pytest.approx(np.diag(full)[:5], rel=0.02)

    def test_needles_are_merged(self) -> None:
        points, faces = paraboloid(radius=4.0, height=13.0, around=20, along=16)
        points[31] = points[30] + 1e-7
        with pytest.raises(ValueError, match="give target_faces to have them merged"):
            fe_stiffness(points, faces, e_mpa=1.0, nu=0.45)
        assert fe_stiffness(points, faces, e_mpa=1.0, nu=0.45, target_faces=600).residual < 1e-10

    def test_nothing_to_do_leaves_the_root_alone(self) -> None:
        points, faces = paraboloid(radius=4.0, height=13.0, around=10, along=6)
        same = coarsened(Root(points, faces, np.full(len(points), 0.2)), target_faces=len(faces))
        assert (same.faces == faces).all()


@pytest.fixture(scope="module")
def molar() -> tuple[Array, IntArray]:
    """Roots of the open upper first molar, from about 1 mm below its cervix, apical up."""
    if not MOLAR.exists():
        pytest.skip("the folder of open meshes is not beside the project")
    import trimesh

    mesh = trimesh.load_mesh(MOLAR)
    x, apical, anterior = np.asarray(mesh.vertices).T
    points = np.column_stack([x, -anterior, apical])
    keep = (points[mesh.faces][:, :, 2] > points[:, 2].min() + 8.0).all(axis=1)
    used, faces = np.unique(np.asarray(mesh.faces)[keep], return_inverse=True)
    return points[used], faces.reshape(-1, 3)


class TestRealMolar:
    def test_three_roots_are_solved_and_coarsening_keeps_the_answer(
        self, molar: tuple[Array, IntArray]
    ) -> None:
        full = fe_stiffness(*molar, e_mpa=0.68, nu=0.45, thickness_mm=0.2)
        few = fe_stiffness(*molar, e_mpa=0.68, nu=0.45, thickness_mm=0.2, target_faces=3000)
        assert full.residual < 1e-10
        assert full.narrowed_share < 0.01
        low, high = molar[0].min(axis=0), molar[0].max(axis=0)
        centres = [elastic_centre(r.stiffness) for r in (full, few)]
        assert (centres[0] > low).all()
        assert (centres[0] < high).all()
        assert np.linalg.norm(centres[0] - centres[1]) < 0.05
        shift = few.stiffness[:3, :3] - full.stiffness[:3, :3]
        assert np.abs(shift).max() < 0.01 * full.stiffness[0, 0]

    @pytest.mark.parametrize(("thickness", "narrowed"), [(0.2, 0), (0.38, 10), (0.8, 100)])
    def test_layers_between_the_roots_do_not_cross(
        self, molar: tuple[Array, IntArray], thickness: float, narrowed: int
    ) -> None:
        """Checked by the exact test for crossing; without the narrowing the thickest layer does cross."""
        points, faces = molar
        side = bone_side(points, faces, np.full(len(points), thickness))
        assert self_crossings(Surface(side.points_mm, faces)).count == 0
        assert side.narrowed.sum() >= narrowed
        plain = points + thickness * offset_directions(points, faces)
        assert (self_crossings(Surface(plain, faces)).count > 0) == (thickness > 0.3)


def elastic_centre(stiffness: Array) -> Array:
    """Point about which the coupling block of K is symmetric (design: elastic centre)."""
    s = np.linalg.solve(stiffness[:3, :3], stiffness[:3, 3:])
    skewed = 0.5 * (s.T - s)
    return np.array([skewed[2, 1], skewed[0, 2], skewed[1, 0]])


def test_tube_faces_point_outward() -> None:
    points, _ = cylinder(radius=2.0, height=3.0, around=12, along=2)
    vectors = face_vectors(points, tube_faces(12, 3))
    assert (np.einsum("mx,mx->m", vectors, points[tube_faces(12, 3)].mean(axis=1) * [1, 1, 0]) > 0.0).all()
