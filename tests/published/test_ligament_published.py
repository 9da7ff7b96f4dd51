"""Published and derived figures of the ligament's springs and the centre of resistance, one row a figure.

"Exact" figures are closed forms or quadratures derived apart from this code and typed here; the tolerance is that of
the facets. Published bands are plausibility, not equality.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from revolved import power_root, revolved
from scipy.integrate import quad

from mechanics.centres.movement import sigma_squared_mm2
from mechanics.centres.stiffness_centres import elastic_centre, sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.ligament.springs import Ligament
from mechanics.ligament.thin_layer import thin_layer_stiffness
from mechanics.ligament_fe import fe_stiffness
from mechanics.rigid import stiffness_about
from mesh_tools.anatomy import ToothAnatomy, tooth_anatomy
from mesh_tools.arrays import Array, IntArray
from mesh_tools.axes import to_lps
from mesh_tools.fdi import ToothNumber
from mesh_tools.read import read_surface
from mesh_tools.repair import repaired
from mesh_tools.supported_root import supported_root
from mesh_tools.surface import Surface

Y = np.array([0.0, 1.0, 0.0])
MESHES = Path(__file__).parents[3] / "shared" / "meshes"

# Bonded thin layer by standard elasticity: k_n/k_t = 2 (1 - nu)/(1 - 2 nu).
RATIOS = [(0.0, 2.0), (0.30, 3.5), (0.45, 11.0), (0.49, 51.0)]


@pytest.mark.parametrize(("nu", "ratio"), RATIOS)
def test_ratio_of_the_springs(nu: float, ratio: float) -> None:
    layer = Ligament(1.0, nu, 0.2)
    assert layer.k_normal / layer.k_shear == pytest.approx(ratio, rel=1e-9)


@dataclass(frozen=True)
class Row:
    """``centre`` is the height of the centre over h; ``lateral`` K/k_t in mm2; ``turning`` about the centre, mm4."""

    source: str
    root: tuple[Array, IntArray]
    height: float
    ratio: float
    centre: float
    lateral: float | None = None
    turning: float | None = None


PARABOLOID = power_root(radius=3.0, height=13.0, power=0.5)
CONE = power_root(radius=3.0, height=13.0, power=1.0)
CYLINDER = revolved(lambda z: np.full_like(z, 3.0), np.linspace(0.0, 12.0, 121))
# 0.3709 at 51 is the quadrature done again (0.37093); 0.3707 circulates and does not follow from the formula.
ROWS = [
    Row("paraboloid R 3 h 13, exact quadrature", PARABOLOID, 13.0, 1.0, 0.4044, 166.4, 2413.0),
    Row("paraboloid R 3 h 13, exact quadrature", PARABOLOID, 13.0, 3.5, 0.3853, 367.1, 4718.0),
    Row("paraboloid R 3 h 13, exact quadrature", PARABOLOID, 13.0, 11.0, 0.3755, 969.2, 11588.0),
    Row("paraboloid R 3 h 13, exact quadrature", PARABOLOID, 13.0, 51.0, 0.3709, 4180.6),
    Row("cone R 3 h 13, exact", CONE, 13.0, 1.0, 0.3333),
    Row("cone R 3 h 13, exact", CONE, 13.0, 3.5, 0.3141),
    Row("cone R 3 h 13, exact", CONE, 13.0, 11.0, 0.3040),
    Row("cylinder R 3 h 12, exact", CYLINDER, 12.0, 3.5, 0.5, 508.9, 7125.1),
]


def by_quadrature(ratio: float, *, radius: float, height: float) -> float:
    """Centre over h of a paraboloid, q = R^2/2h, weights of the arc: 2 pi k_t z r_s and pi (k_n - k_t) (z - q) r_c."""
    q = radius**2 / (2.0 * height)

    def squared(z: float) -> float:
        return radius**2 * (1.0 - z / height)

    def weight(z: float) -> float:
        return float(2.0 * np.sqrt(squared(z) + q * q))

    def leaning(z: float) -> float:
        return float((ratio - 1.0) * squared(z) / np.sqrt(squared(z) + q * q))

    moment = quad(lambda z: z * weight(z) + (z - q) * leaning(z), 0.0, height)[0]
    return float(moment / quad(lambda z: weight(z) + leaning(z), 0.0, height)[0] / height)


@pytest.mark.parametrize("ratio", [1.0, 3.5, 11.0, 51.0])
@pytest.mark.parametrize(("radius", "height"), [(3.0, 13.0), (4.0, 10.0)])
def test_paraboloid_against_quadrature(ratio: float, radius: float, height: float) -> None:
    k = foundation_stiffness(
        *power_root(radius=radius, height=height, power=0.5), k_normal=ratio, k_shear=1.0
    )
    expected = by_quadrature(ratio, radius=radius, height=height)
    assert elastic_centre(k)[2] / height == pytest.approx(expected, abs=1.0e-4)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r.source}, {r.ratio:g}")
def test_root_of_revolution(row: Row) -> None:
    k = foundation_stiffness(*row.root, k_normal=row.ratio, k_shear=1.0)
    assert elastic_centre(k)[2] / row.height == pytest.approx(row.centre, abs=1.5e-4)
    assert sagittal_centre(k)[2] / row.height == pytest.approx(row.centre, abs=1.5e-4)
    about = stiffness_about(k, elastic_centre(k))
    if row.lateral is not None:
        assert about[0, 0] == pytest.approx(row.lateral, rel=1e-3)
        assert about[1, 1] == pytest.approx(row.lateral, rel=1e-3)
    if row.turning is not None:
        assert about[3, 3] == pytest.approx(row.turning, rel=2e-3)


def test_axial_and_torsional_stiffness_of_a_cylinder() -> None:
    """2 pi R h k_t = 226.2 and 2 pi R^3 h k_t = 2035.8 for R 3, h 12, exact."""
    k = foundation_stiffness(*CYLINDER, k_normal=3.5, k_shear=1.0)
    assert k[2, 2] == pytest.approx(226.2, rel=1e-3)
    assert k[5, 5] == pytest.approx(2035.8, rel=2e-3)


# Slender roots of width (1 - z/h)^p: centre h/(p + 2), sigma^2 = (p + 1) h^2/((p + 2)^2 (p + 3)), exact. p 1/2 is the
# 0.4 h and 0.068 h^2 of Burstone CJ 1962 in Kraus & Riedel, Vistas in Orthodontics (from memory).
SLENDER = [
    (0.0, 1 / 2, 1 / 12),
    (0.5, 0.400, 12 / 175),
    (1.0, 1 / 3, 1 / 18),
    (1.5, 2 / 7, 2.5 / (3.5**2 * 4.5)),
]


@pytest.mark.parametrize(("power", "centre", "sigma2"), SLENDER)
def test_slender_roots(power: float, centre: float, sigma2: float) -> None:
    h = 1000.0
    k = foundation_stiffness(*power_root(radius=3.0, height=h, power=power), k_normal=1.0, k_shear=1.0)
    assert elastic_centre(k)[2] / h == pytest.approx(centre, abs=3e-4)
    assert sigma_squared_mm2(k, Y) / h**2 == pytest.approx(sigma2, rel=2e-3)


def test_the_centre_depends_weakly_on_the_ratio() -> None:
    """At most 0.09 h over k_n/k_t 1 to 51, derived."""
    heights = [
        elastic_centre(foundation_stiffness(*PARABOLOID, k_normal=r, k_shear=1.0))[2] / 13.0
        for r in (1, 3.5, 11, 51)
    ]
    assert np.ptp(heights) < 0.09
    assert heights == sorted(heights, reverse=True)


@pytest.mark.parametrize("nu", [0.30, 0.45, 0.49])
def test_centre_of_a_single_root_from_the_crest(nu: float) -> None:
    """33 to 42 % of the root's length: Papageorgiou IS 2005 Hell Orthod Rev 8 (a review)."""
    layer = Ligament(nu=nu)
    springs = foundation_stiffness(*PARABOLOID, k_normal=layer.k_normal, k_shear=layer.k_shear)
    film = thin_layer_stiffness(*power_root(radius=3.0, height=13.0, power=0.5, rings=50), layer)
    for k in (springs, film):
        assert 0.33 <= sagittal_centre(k)[2] / 13.0 <= 0.42


# Bone loss on an upper central incisor by finite elements, 1 N: centre to apex. Orthod J Nepal 14(2) 2024, doi
# 10.3126/ojn.v14i2.72265. The first row fixes the length of a paraboloid root; the others are then predicted.
BONE_LOSS = [(0.0, 9.3), (1.0, 8.8), (5.0, 5.7), (6.5, 4.9), (8.0, 4.4)]


@pytest.mark.parametrize(("loss", "to_apex"), BONE_LOSS)
def test_bone_loss_moves_the_centre_apically(loss: float, to_apex: float) -> None:
    full, radius = 14.8, 3.0
    h = full - loss
    root = power_root(radius=radius * np.sqrt(h / full), height=h, power=0.5, rings=60)
    layer = Ligament(nu=0.45)
    k = foundation_stiffness(*root, k_normal=layer.k_normal, k_shear=layer.k_shear)
    assert h - sagittal_centre(k)[2] == pytest.approx(to_apex, abs=0.6)


@pytest.fixture(scope="module")
def open_molar() -> tuple[Surface, ToothAnatomy]:
    """The open upper first molar, about a tenth small."""
    path = MESHES / "teeth" / "maxillary-first-molar_mm_12k.stl"
    if not path.exists():
        pytest.skip("the open meshes at ../shared/meshes are not there")
    surface = to_lps(repaired(read_surface(path)).surface, "LSA")
    return surface, tooth_anatomy(surface, ToothNumber(26))


def centre_of(molar: tuple[Surface, ToothAnatomy], *, crest_mm: float = 0.75) -> Array:
    """Sagittal centre (3,) on the elastic foundation."""
    root, layer = supported_root(*molar, crest_below_cej_mm=crest_mm), Ligament()
    k = foundation_stiffness(root.points_mm, root.faces, k_normal=layer.k_normal, k_shear=layer.k_shear)
    return sagittal_centre(k)


def from_landmark(molar: tuple[Surface, ToothAnatomy], landmark: str) -> Array:
    """Sagittal centre from a landmark: apical, distal, lingual, mm."""
    surface, anatomy = molar
    crown = surface.points_mm[anatomy.below_line_mm(surface.points_mm) < 0.0]
    place = 0.5 * (crown.min(axis=0) + crown.max(axis=0))
    place[0] = crown[:, 0].max()  # buccal is +x on the left
    if landmark == "trifurcation":
        assert anatomy.trifurcation_mm is not None
        place = anatomy.trifurcation_mm
    x, y, z = centre_of(molar) - place
    return np.array([z, y, -x])


# Mean and SD, mm, of the centre relative to two landmarks, 50 molars by finite elements: Gandhi V et al. 2021 AJODO
# 160:442-450. The open molar is some 10 % small; the band is two SD.
GANDHI = [
    ("trifurcation", 0, 0.19, 1.75),
    ("trifurcation", 1, 1.48, 2.26),
    ("trifurcation", 2, 0.14, 1.51),
    ("buccal", 0, 7.86, 1.66),
    ("buccal", 1, 2.54, 2.70),
    ("buccal", 2, 4.94, 1.39),
]


@pytest.mark.parametrize(("landmark", "direction", "mean", "sd"), GANDHI)
def test_the_open_molar_within_the_published_scatter(
    open_molar: tuple[Surface, ToothAnatomy], landmark: str, direction: int, mean: float, sd: float
) -> None:
    assert from_landmark(open_molar, landmark)[direction] == pytest.approx(mean, abs=2.0 * sd)


def test_a_lower_crest_moves_the_centre_apically_by_half_as_much(
    open_molar: tuple[Surface, ToothAnatomy],
) -> None:
    """About half a millimetre per millimetre of crest, derived."""
    low, high = (centre_of(open_molar, crest_mm=c)[2] for c in (0.0, 1.5))
    assert (high - low) / 1.5 == pytest.approx(0.5, abs=0.15)


@pytest.mark.slow
def test_thin_layer_and_solid_elements_on_the_open_molar(open_molar: tuple[Surface, ToothAnatomy]) -> None:
    """Within 0.06 mm and 3.3 % of stiffness, and the foundation within 0.15 mm, by an independent prototype."""
    root, layer = supported_root(*open_molar), Ligament()
    solid = fe_stiffness(
        root.points_mm, root.faces, e_mpa=layer.e_mpa, nu=layer.nu, thickness_mm=layer.thickness_mm
    ).stiffness
    film = thin_layer_stiffness(root.points_mm, root.faces, layer)
    centre = sagittal_centre(solid)
    assert np.linalg.norm(sagittal_centre(film) - centre) < 0.06
    assert np.linalg.norm(centre_of(open_molar) - centre) < 0.15
    about = [np.diag(stiffness_about(k, elastic_centre(solid))) for k in (film, solid)]
    np.testing.assert_allclose(about[0] / about[1], 1.0, atol=0.033)
