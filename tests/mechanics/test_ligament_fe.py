"""Solid finite elements of the ligament against closed forms, an independent library and themselves."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from fe_shapes import cylinder, disc, paraboloid, refined
from scipy.special import iv

from mechanics.ligament_fe import FeResult, fe_stiffness
from mechanics.ligament_fe.assembly import lame
from mechanics.ligament_fe.offset import bone_side, face_vectors
from mechanics.ligament_fe.solve import proven_residual
from mechanics.ligament_fe.stiffness import scaled_condition
from mesh_tools.arrays import Array, IntArray, skew

T = 0.2


@cache
def root(nu: float, layers: int = 1, around: int = 20, along: int = 16) -> FeResult:
    """The paraboloid R 4, h 13 mm of the issue, E 1 MPa."""
    points, faces = paraboloid(radius=4.0, height=13.0, around=around, along=along)
    return fe_stiffness(points, faces, e_mpa=1.0, nu=nu, thickness_mm=T, layers=layers)


def centre_height(stiffness: Array) -> float:
    """Height above the crest at which a force along x does not tip."""
    return float(stiffness[0, 4] / stiffness[0, 0])


class TestClosedForms:
    @pytest.mark.parametrize(("radius", "share"), [(4.0, 0.012), (16.0, 0.003)])
    def test_wide_pad_is_a_spring_bed_away_from_its_edge(self, radius: float, share: float) -> None:
        """k_n and k_t of a bonded thin layer (standard elasticity, evidence section 3); the edge costs about t / R."""
        e, nu = 0.7, 0.3
        points, faces = disc(radius=radius, rings=16)
        stiffness = fe_stiffness(points, faces, e_mpa=e, nu=nu, thickness_mm=T).stiffness
        area = np.linalg.norm(face_vectors(points, faces), axis=1).sum()
        normal = e * (1 - nu) / ((1 + nu) * (1 - 2 * nu) * T)
        along = e / (2 * (1 + nu) * T)
        assert stiffness[2, 2] / (normal * area) == pytest.approx(1.0, abs=share)
        assert stiffness[0, 0] / (along * area) == pytest.approx(1.0, abs=share)
        assert stiffness[2, 2] < normal * area

    @pytest.mark.parametrize(("nu", "share"), [(0.49, 0.006), (0.499, 0.004), (0.4999, 0.004)])
    def test_bonded_round_pad_near_incompressibility(self, nu: float, share: float) -> None:
        """A. N. Gent, P. B. Lindley, Proc Inst Mech Eng 173 (1959) 111 (from memory), with bulk compression.

        The pressure obeys (t^3 / 12 mu) lap p - (t / lambda) p = -1, so that it follows a Bessel function; 2 mu / t is
        added for the confined layer's direct stress. As nu goes to 1/2 this is Gent and Lindley's 3/2 pi mu a^4 / t^3.
        """
        mu, lam = lame(e_mpa=1.0, nu=nu)
        a = 4.0
        points, faces = disc(radius=a, rings=14)
        stiffness = fe_stiffness(points, faces, e_mpa=1.0, nu=nu, thickness_mm=T).stiffness
        ka = a * np.sqrt(12.0 * mu / lam) / T
        film = np.pi * a**2 * lam / T * (1.0 - 2.0 * iv(1, ka) / (ka * iv(0, ka)))
        assert stiffness[2, 2] / (film + 2.0 * mu * np.pi * a**2 / T) == pytest.approx(1.0, abs=share)

    def test_torsion_of_a_ring_converges_to_the_exact_value(self) -> None:
        """A ring between r = a and b twists by 4 pi mu h a^2 b^2 / (b^2 - a^2), ends free (Lame's twisting shear)."""
        a, b, h = 3.0, 3.25, 4.0
        exact = 4.0 * np.pi / 2.6 * h * a**2 * b**2 / (b**2 - a**2)
        errors = []
        for around in (12, 24, 48):
            points, faces = cylinder(radius=a, height=h, around=around, along=around // 6)
            errors.append(
                1.0
                - fe_stiffness(points, faces, e_mpa=1.0, nu=0.3, thickness_mm=b - a).stiffness[5, 5] / exact
            )
        rates = np.log2(np.array(errors[:-1]) / errors[1:])
        assert errors[-1] < 0.005
        assert (rates > 1.4).all()

    def test_incompressible_limit_is_reached_without_locking(self) -> None:
        """At nu 0.49999 the pad has Gent and Lindley's incompressible stiffness E A / t (1 + 2 S^2), S = a / 2 t."""
        a = 2.0
        points, faces = disc(radius=a, rings=10)
        stiffness = fe_stiffness(points, faces, e_mpa=1.0, nu=0.49999, thickness_mm=T).stiffness[2, 2]
        shape = a / (2.0 * T)
        gent = np.pi * a**2 / T * (1.0 + 2.0 * shape**2)
        assert stiffness == pytest.approx(gent, rel=0.01)


def tets_of(points: Array, outer: Array, faces: IntArray, layers: int) -> tuple[Array, IntArray]:
    """Straight tetrahedra of the layer: every wedge in three, diagonals by point number so that neighbours fit."""
    n = len(points)
    nodes = np.concatenate([points + (outer - points) * k / layers for k in range(layers + 1)])
    a, b, c = np.sort(faces, axis=1).T
    one = np.concatenate(
        [np.stack(t, axis=1) for t in ((a, b, c, c + n), (a, b, b + n, c + n), (a, a + n, b + n, c + n))]
    )
    return nodes, np.concatenate([one + n * k for k in range(layers)])


def taylor_hood_tets(points: Array, outer: Array, faces: IntArray, *, nu: float, layers: int) -> Array:
    """K (6, 6) by scikit-fem: P2-P1 tetrahedra, saddle system solved by SuperLU."""
    skfem = pytest.importorskip("skfem")
    import scipy.sparse as sparse
    from scipy.sparse.linalg import splu
    from skfem.helpers import ddot, div, sym_grad

    mu, lam = lame(e_mpa=1.0, nu=nu)
    nodes, tets = tets_of(points, outer, faces, layers)
    mesh = skfem.MeshTet(nodes.T.copy(), tets.T.copy())
    motion = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementTetP2()), intorder=2)
    pressure = motion.with_element(skfem.ElementTetP1())
    a = skfem.BilinearForm(lambda u, v, w: 2 * mu * ddot(sym_grad(u), sym_grad(v))).assemble(motion)
    b = skfem.BilinearForm(lambda u, q, w: div(u) * q).assemble(motion, pressure)
    c = skfem.BilinearForm(lambda p, q, w: p * q / lam).assemble(pressure)
    matrix = sparse.bmat([[a, b.T], [b, -c]]).tocsc()
    place = motion.doflocs
    tooth = np.zeros(mesh.nvertices, dtype=bool)
    tooth[: len(points)] = True
    bone = np.zeros(mesh.nvertices, dtype=bool)
    bone[-len(points) :] = True
    fields, known = np.zeros((matrix.shape[0], 6)), np.zeros(matrix.shape[0], dtype=bool)
    for side in (tooth, bone):
        at = [motion.nodal_dofs[:, side].ravel(), motion.edge_dofs[:, side[mesh.edges].all(axis=0)].ravel()]
        known[np.concatenate(at)] = True
    component = np.full(motion.N, -1)
    for i in range(3):
        component[motion.nodal_dofs[i]] = i
        component[motion.edge_dofs[i]] = i
    inner = np.concatenate(
        [motion.nodal_dofs[:, tooth].ravel(), motion.edge_dofs[:, tooth[mesh.edges].all(axis=0)].ravel()]
    )
    for dof in inner:
        fields[dof, :3] = np.eye(3)[component[dof]]
        fields[dof, 3:] = -skew(place[:, dof])[component[dof]]
    free = ~known
    load = (matrix @ fields)[free]
    fields[free] = -splu(matrix[free][:, free].tocsc()).solve(load)
    return np.asarray(fields[inner].T @ (matrix @ fields)[inner])


class TestIndependentLibrary:
    @pytest.mark.parametrize("nu", [0.3, 0.45, 0.49, 0.499])
    def test_paraboloid_follows_scikit_fem(self, nu: float) -> None:
        """Taylor-Hood tetrahedra of scikit-fem on the same corners, two layers; the bone sides differ a little."""
        points, faces = paraboloid(radius=4.0, height=13.0, around=14, along=10)
        ours = fe_stiffness(points, faces, e_mpa=1.0, nu=nu, thickness_mm=T)
        outer = bone_side(ours.points_mm, ours.faces, ours.thickness_mm).points_mm
        theirs = taylor_hood_tets(ours.points_mm, outer, ours.faces, nu=nu, layers=2)
        assert np.diag(ours.stiffness) == pytest.approx(np.diag(theirs), rel=0.006)
        assert centre_height(ours.stiffness) == pytest.approx(centre_height(theirs), abs=0.025)


class TestConvergence:
    @pytest.mark.parametrize("nu", [0.3, 0.45, 0.49, 0.499])
    def test_one_layer_is_enough(self, nu: float) -> None:
        one, two = root(nu).stiffness, root(nu, layers=2).stiffness
        assert np.diag(one) == pytest.approx(np.diag(two), rel=2e-3)
        assert centre_height(one) == pytest.approx(centre_height(two), abs=2e-3)

    @pytest.mark.parametrize("nu", [0.3, 0.49, 0.499])
    def test_finer_faces_on_the_same_surface_change_little(self, nu: float) -> None:
        """The same flat faces cut in sixteen: what is left is the elements' own error, under 0.7 %.

        Torsion is left out: twelve flat sides squeeze as they turn, in a pattern that coarse pressures cannot hold.
        """
        points, faces = paraboloid(radius=4.0, height=13.0, around=12, along=10)
        coarse = fe_stiffness(points, faces, e_mpa=1.0, nu=nu, thickness_mm=T).stiffness
        fine = fe_stiffness(*refined(*refined(points, faces)), e_mpa=1.0, nu=nu, thickness_mm=T).stiffness
        assert np.diag(coarse)[:5] == pytest.approx(np.diag(fine)[:5], rel=0.007)

    def test_surface_refinement_is_second_order(self) -> None:
        values = [root(0.45, 1, 4 * k, 3 * k).stiffness[0, 0] for k in (3, 6, 12)]
        rate = np.log2((values[1] - values[0]) / (values[2] - values[1]))
        assert rate > 1.4

    def test_stiffness_grows_with_poisson_ratio_and_centre_stays(self) -> None:
        lateral = [root(nu).stiffness[0, 0] for nu in (0.0, 0.3, 0.45, 0.49, 0.499)]
        assert (np.diff(lateral) > 0.0).all()
        assert 0.3 * 13 < centre_height(root(0.3).stiffness) < 0.4 * 13


class TestInvariance:
    @pytest.mark.parametrize("mirror", [1.0, -1.0])
    def test_moving_turning_and_mirroring(self, mirror: float) -> None:
        points, faces = paraboloid(radius=3.0, height=9.0, around=10, along=7)
        points = points * [1.0, 0.8, 1.0] + [0.0, 0.05, 0.0] * points[:, 2:] ** 2
        turn = np.linalg.qr(np.random.default_rng(4).normal(size=(3, 3)))[0]
        turn = turn * np.sign(np.linalg.det(turn)) * mirror
        shift = np.array([11.0, -7.0, 23.0])
        faces_of = faces if mirror > 0 else faces[:, ::-1]
        before = fe_stiffness(points, faces, e_mpa=1.0, nu=0.45, thickness_mm=T).stiffness
        after = fe_stiffness(points @ turn.T + shift, faces_of, e_mpa=1.0, nu=0.45, thickness_mm=T).stiffness
        change = np.zeros((6, 6))
        change[:3, :3], change[3:, 3:] = turn.T, mirror * turn.T
        change[:3, 3:] = -turn.T @ skew(shift)
        expected = change.T @ before @ change
        assert after == pytest.approx(expected, rel=1e-7, abs=1e-7 * np.abs(expected).max())

    def test_scaling_and_modulus(self) -> None:
        points, faces = paraboloid(radius=3.0, height=9.0, around=10, along=7)
        one = fe_stiffness(points, faces, e_mpa=1.0, nu=0.45, thickness_mm=T).stiffness
        two = fe_stiffness(2.0 * points, faces, e_mpa=0.25, nu=0.45, thickness_mm=2.0 * T).stiffness
        power = np.array([1, 1, 1, 2, 2, 2])
        assert two == pytest.approx(0.25 * one * 2.0 ** (power[:, None] + power - 1), rel=1e-8, abs=1e-6)

    def test_order_of_points_and_faces_does_not_matter(self) -> None:
        points, faces = paraboloid(radius=3.0, height=9.0, around=10, along=7)
        rng = np.random.default_rng(1)
        place = rng.permutation(len(points))
        shuffled = np.argsort(place)[faces][rng.permutation(len(faces))]
        one = fe_stiffness(points, faces, e_mpa=1.0, nu=0.45).stiffness
        two = fe_stiffness(points[place], shuffled, e_mpa=1.0, nu=0.45).stiffness
        assert two == pytest.approx(one, rel=1e-8, abs=1e-6)

    def test_a_triangle_soup_is_welded(self) -> None:
        points, faces = paraboloid(radius=3.0, height=9.0, around=10, along=7)
        soup = fe_stiffness(
            points[faces].reshape(-1, 3), np.arange(faces.size).reshape(-1, 3), e_mpa=1.0, nu=0.45
        )
        assert soup.stiffness == pytest.approx(
            fe_stiffness(points, faces, e_mpa=1.0, nu=0.45).stiffness, rel=1e-8, abs=1e-6
        )


class TestTraction:
    def test_tractions_sum_to_the_load(self) -> None:
        result = root(0.45)
        motion = np.array([0.01, -0.02, 0.005, 0.001, 0.002, -0.001])
        areas = np.linalg.norm(face_vectors(result.points_mm, result.faces), axis=1)
        forces = result.traction_mpa(motion) * areas[:, None]
        centres = result.points_mm[result.faces].mean(axis=1)
        load = result.stiffness @ motion
        assert forces.sum(axis=0) == pytest.approx(load[:3], rel=1e-8)
        assert np.cross(centres, forces).sum(axis=0) == pytest.approx(load[3:], rel=0.03)

    def test_pressing_into_bone_squeezes_there_and_stretches_behind(self) -> None:
        result = root(0.49)
        pressure = result.pressure_mpa([0.01, 0.0, 0.0, 0.0, 0.0, 0.0])
        x, _, z = result.points_mm[result.faces].mean(axis=1).T
        middle = (z > 2.0) & (z < 10.0)
        assert (pressure[middle & (x > 1.0)] > 0.0).all()
        assert (pressure[middle & (x < -1.0)] < 0.0).all()

    def test_what_is_returned_cannot_be_changed(self) -> None:
        result = root(0.3)
        for array in (result.stiffness, result.unit_traction_mpa, result.thickness_mm):
            with pytest.raises(ValueError, match="read-only"):
                array[0] = 0.0


class TestBadInput:
    @pytest.mark.parametrize(
        ("change", "text"),
        [
            ({"nu": 0.5}, r"nu of the ligament must lie in \[0, 0.5\); got 0.5"),
            ({"nu": -0.1}, r"nu of the ligament .* got -0.1"),
            ({"nu": float("nan")}, "nu of the ligament .* got nan"),
            ({"e_mpa": -1.0}, "e_mpa of the ligament must lie in .* got -1"),
            ({"e_mpa": 2e4}, "e_mpa of the ligament must lie in .* got 20000"),
            ({"thickness_mm": 0.0}, "thickness_mm must be positive everywhere; got 0"),
            (
                {"thickness_mm": 5.0},
                "thickness_mm must be less than the root's own radius .* got 5; check units",
            ),
            ({"thickness_mm": [0.2, 0.3]}, r"thickness_mm must have shape"),
            ({"layers": 9}, "layers through the ligament must be 1 to 4; got 9"),
        ],
    )
    def test_numbers_out_of_range(self, change: dict[str, object], text: str) -> None:
        points, faces = paraboloid(radius=4.0, height=13.0, around=10, along=6)
        wanted: dict[str, object] = {"e_mpa": 0.7, "nu": 0.45, **change}
        with pytest.raises(ValueError, match=text) as refused:
            fe_stiffness(points, faces, **wanted)  # type: ignore[arg-type]
        assert "\n" not in str(refused.value)

    def test_surfaces_that_break_a_rule(self) -> None:
        points, faces = paraboloid(radius=4.0, height=13.0, around=10, along=6)
        lid = np.column_stack([np.full(8, 0), np.arange(2, 10), np.arange(1, 9)])
        against = faces.copy()
        against[5] = against[5, ::-1]
        needle = points.copy()
        needle[11] = needle[10] + 1e-7
        for bad_points, bad_faces, text in (
            (points, np.concatenate([faces, lid]), "must be open at the crest"),
            (points, faces[:, ::-1], "wound outward; they face inward"),
            (points, against, "wound alike"),
            (points, faces[:5], "at least 8 faces; got 5"),
            (points, faces + 1, "faces must index"),
            (needle, faces, "are needles"),
            (points, np.concatenate([faces, faces[:1, ::-1]]), "edges have more|wound alike"),
        ):
            with pytest.raises(ValueError, match=text):
                fe_stiffness(bad_points, bad_faces, e_mpa=0.7, nu=0.45)

    def test_a_root_through_itself_is_refused(self) -> None:
        points, faces = cylinder(radius=2.0, height=6.0, around=24, along=8)
        both = np.concatenate([points, points + np.array([3.0, 0.1, 0.05])])
        with pytest.raises(ValueError, match="the root surface must not pass through itself; it does at"):
            fe_stiffness(both, np.concatenate([faces, faces + len(points)]), e_mpa=0.7, nu=0.45)

    def test_an_ill_conditioned_stiffness_is_refused_with_its_condition(self) -> None:
        points, _ = disc(radius=4.0, rings=3)
        with pytest.raises(ArithmeticError, match=r"condition number is \d\.\de\+12 .*sliver"):
            scaled_condition(np.diag([1e12, 1e12, 1e12, 1e12, 1e12, 1.0]), points / 3.0)
        with pytest.raises(ArithmeticError, match="condition number is inf"):
            scaled_condition(np.diag([1.0, 1.0, -1.0, 1.0, 1.0, 1.0]), points)

    def test_a_residual_is_refused(self) -> None:
        load = np.ones((5, 6))
        assert proven_residual(1e-12 * load, load) == pytest.approx(1e-12)
        with pytest.raises(ArithmeticError, match=r"left 1\.0e-06"):
            proven_residual(1e-6 * load, load)
