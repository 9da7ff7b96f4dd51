"""The root surface apical of the crest: exact rim, closed-form areas, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from synthetic_teeth import single_root

from mesh_tools.anatomy import LandmarkError, ToothAnatomy, tooth_anatomy
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.supported_root import UnsupportedRootError, supported_root
from mesh_tools.surface import Surface

CROWN, ROOT, WIDE = 9.5, 13.0, 6.0


@pytest.fixture(scope="module")
def tooth() -> tuple[Surface, ToothAnatomy]:
    surface, _ = single_root(
        11, crown_mm=CROWN, root_mm=ROOT, deep_mm=WIDE, wide_mm=WIDE, wave_mm=1.5, columns=160, rows=160
    )
    return surface, tooth_anatomy(surface, ToothNumber(11))


def rim_of(surface: Surface) -> Array:
    edges = np.sort(surface.faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    edges, count = np.unique(edges, axis=0, return_counts=True)
    return surface.points_mm[np.unique(edges[count == 1])]


def parts(surface: Surface) -> int:
    pairs = surface.faces[:, [[0, 1], [1, 2]]].reshape(-1, 2)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=2 * (len(surface.points_mm),))
    return int(connected_components(graph, directed=False)[0])


@pytest.mark.parametrize("below_mm", [0.0, 0.75, 1.5, 4.0])
def test_the_rim_lies_on_the_crest_in_one_part(tooth: tuple[Surface, ToothAnatomy], below_mm: float) -> None:
    root = supported_root(*tooth, crest_below_cej_mm=below_mm)
    assert np.abs(tooth[1].below_line_mm(rim_of(root)) - below_mm).max() < 0.02  # linear over a facet
    assert tooth[1].below_line_mm(root.points_mm).min() > below_mm - 0.02
    assert parts(root) == 1


def test_the_default_is_three_quarters_of_a_millimetre(tooth: tuple[Surface, ToothAnatomy]) -> None:
    assert len(supported_root(*tooth).faces) == len(supported_root(*tooth, crest_below_cej_mm=0.75).faces)


# Area of a half spheroid of revolution beyond the height z: the integral of 2 pi r sqrt(1 + r'^2).
@pytest.mark.parametrize("z_mm", [1.0, 5.0, 9.0])
def test_area_beyond_a_plane_is_that_of_the_spheroid(
    tooth: tuple[Surface, ToothAnatomy], z_mm: float
) -> None:
    surface, anatomy = tooth
    root = supported_root(surface, anatomy, crest_plane=([0.0, 0.0, CROWN + z_mm], [0.0, 0.0, 1.0]))
    slope = (WIDE / 2.0 / ROOT) ** 2
    t = np.linspace(z_mm, ROOT, 200001)
    exact = (
        2.0 * np.pi * np.trapezoid((WIDE / 2.0) * np.sqrt(1.0 - (t / ROOT) ** 2 + slope * (t / ROOT) ** 2), t)
    )
    assert root.areas_mm2.sum() == pytest.approx(exact, rel=3e-3)
    np.testing.assert_allclose(rim_of(root)[:, 2], CROWN + z_mm, atol=1e-9)


def test_the_plane_may_be_given_with_either_normal(tooth: tuple[Surface, ToothAnatomy]) -> None:
    point = [0.0, 0.0, CROWN + 3.0]
    up, down = (supported_root(*tooth, crest_plane=(point, [0.1, 0.0, s])) for s in (1.0, -1.0))
    assert up.areas_mm2.sum() == pytest.approx(down.areas_mm2.sum(), rel=0.1)


def test_points_of_the_crest_are_met(tooth: tuple[Surface, ToothAnatomy]) -> None:
    surface, anatomy = tooth
    crest = anatomy.cervical_line_mm[::8] + 2.0 * anatomy.long_axis
    by_points = supported_root(surface, anatomy, crest_points_mm=crest)
    by_distance = supported_root(surface, anatomy, crest_below_cej_mm=2.0)
    assert by_points.areas_mm2.sum() == pytest.approx(by_distance.areas_mm2.sum(), rel=0.01)


def test_area_falls_as_bone_is_lost(tooth: tuple[Surface, ToothAnatomy]) -> None:
    areas = [supported_root(*tooth, crest_below_cej_mm=c).areas_mm2.sum() for c in np.arange(0.0, 8.0, 1.0)]
    assert (np.diff(areas) < 0).all()


def test_the_root_moves_with_the_tooth(tooth: tuple[Surface, ToothAnatomy]) -> None:
    mirror = np.diag([-1.0, 1.0, 1.0])
    mirrored = tooth[0].moved(mirror, [5.0, 6.0, 7.0])
    root = supported_root(mirrored, tooth_anatomy(mirrored, ToothNumber(21)))
    expected = supported_root(*tooth)
    assert root.areas_mm2.sum() == pytest.approx(expected.areas_mm2.sum(), rel=1e-9)
    np.testing.assert_allclose(
        root.area_vectors_mm2.sum(axis=0), mirror @ expected.area_vectors_mm2.sum(axis=0), atol=1e-6
    )


def test_a_stray_flake_beside_the_root_is_left_out(tooth: tuple[Surface, ToothAnatomy]) -> None:
    surface, anatomy = tooth
    flake = np.array([[5.0, 0.0, 16.0], [5.5, 0.0, 16.0], [5.0, 0.5, 16.0]])
    n = len(surface.points_mm)
    with_flake = Surface(np.concatenate([surface.points_mm, flake]), [*surface.faces, [n, n + 1, n + 2]])
    root = supported_root(with_flake, anatomy)
    assert parts(root) == 1
    assert root.areas_mm2.sum() == pytest.approx(supported_root(*tooth).areas_mm2.sum(), rel=1e-12)


def test_bone_lost_beyond_the_furcation_leaves_every_root(tooth: tuple[Surface, ToothAnatomy]) -> None:
    """Two copies of the tooth side by side stand for two roots: both tips stay, each its own part."""
    surface, anatomy = tooth
    n = len(surface.points_mm)
    twin = Surface(
        np.concatenate([surface.points_mm, surface.points_mm + np.array([7.0, 0.0, 0.0])]),
        np.concatenate([surface.faces, surface.faces + n]),
    )
    first = anatomy.roots[0]
    second = replace(first, name="other", apex_mm=first.apex_mm + np.array([7.0, 0.0, 0.0]))
    root = supported_root(twin, replace(anatomy, roots=(first, second)), crest_below_cej_mm=6.0)
    assert parts(root) == 2


@pytest.mark.parametrize(
    ("crest", "error", "text"),
    [
        (
            {"crest_below_cej_mm": 13.5},
            UnsupportedRootError,
            r"unsupported root, the crest leaves 0\.\d mm of root",
        ),
        ({"crest_below_cej_mm": 12.65}, UnsupportedRootError, "leaves a sliver of"),
        ({"crest_below_cej_mm": 40.0}, BadValueError, "must lie in -2 to 15 mm; got 40"),
        ({"crest_below_cej_mm": float("nan")}, BadValueError, "got nan"),
        ({"crest_plane": ([0, 0, 12], [1, 0, 0])}, BadValueError, "normal leans 90 degrees"),
        ({"crest_points_mm": [[3, 0, 10], [0, 3, 10], [-3, 0, 10]]}, LandmarkError, "at least 4 points"),
    ],
)
def test_crests_that_leave_nothing(
    tooth: tuple[Surface, ToothAnatomy], crest: dict[str, float], error: type[Exception], text: str
) -> None:
    with pytest.raises(error, match=text):
        supported_root(*tooth, **crest)


def test_points_and_plane_together_are_refused(tooth: tuple[Surface, ToothAnatomy]) -> None:
    crest = tooth[1].cervical_line_mm
    with pytest.raises(BadValueError, match="either points or a plane, not both"):
        supported_root(*tooth, crest_points_mm=crest, crest_plane=([0, 0, 12], [0, 0, 1]))
