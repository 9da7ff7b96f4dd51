"""The ligament and its centres: roots of revolution with exact answers."""

from __future__ import annotations

from collections.abc import Iterator

from casework.selftest.figure import Figure
from casework.selftest.roots import power_root
from mechanics.centres.stiffness_centres import elastic_centre, sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.ligament.springs import Ligament
from mechanics.ligament.thin_layer import thin_layer_stiffness
from mesh_tools.arrays import Array

_EXACT = "exact integral over a root of revolution on normal and tangential springs"
_BURSTONE = "Burstone CJ 1962 in Kraus, Riedel, Vistas in Orthodontics (from memory): parabolic root, 0.4 of its length"
_SPRINGS = "thin bonded layer: k_n/k_t = 2 (1 - nu) / (1 - 2 nu), standard elasticity"


def ligament_figures() -> Iterator[Figure]:
    """Springs, centres of cone, cylinder and paraboloid, stiffness of a cylinder, and the thin layer's centre."""
    for nu, ratio in ((0.0, 2.0), (0.30, 3.5), (0.45, 11.0)):
        layer = Ligament(1.0, nu, 0.2)
        yield Figure(
            f"normal over tangential spring, nu {nu:g}",
            _SPRINGS,
            "",
            ratio,
            layer.k_normal / layer.k_shear,
            1e-9,
        )
    for power, name, ratio, centre in (
        (1.0, "cone", 1.0, 1 / 3), (1.0, "cone", 3.5, 0.3141), (1.0, "cone", 11.0, 0.3040),
        (0.5, "paraboloid", 3.5, 0.3853), (0.5, "paraboloid", 11.0, 0.3755),
    ):  # fmt: skip
        k = _springs(power, 13.0, ratio)
        yield Figure(f"centre of a {name}, springs {ratio:g} to 1, of its height", _EXACT, "h", centre,
                     float(elastic_centre(k)[2]) / 13.0, 6e-4)  # fmt: skip
    k = _springs(0.5, 1000.0, 1.0)
    yield Figure("centre of a slender parabolic root, of its length", _BURSTONE, "h", 0.4,
                 float(sagittal_centre(k)[2]) / 1000.0, 1e-3)  # fmt: skip
    k = _springs(0.0, 12.0, 3.5)
    yield Figure(
        "sideways stiffness of a cylinder, pi R h (k_n + k_t)", _EXACT, "mm2", 508.94, float(k[0, 0]), 0.6
    )
    yield Figure(
        "stiffness of a cylinder in turning, 2 pi R^3 h k_t", _EXACT, "mm4", 2035.75, float(k[5, 5]), 4.0
    )
    yield _thin()


def _springs(power: float, height_mm: float, ratio: float) -> Array:
    root = power_root(radius_mm=3.0, height_mm=height_mm, power=power)
    return foundation_stiffness(*root, k_normal=ratio, k_shear=1.0)


def _thin() -> Figure:
    """A cylinder open at both ends has its centre at half its height, whatever the model."""
    root = power_root(radius_mm=3.0, height_mm=12.0, power=0.0, rings=60)
    k = thin_layer_stiffness(*root, Ligament(0.68, 0.45, 0.2))
    return Figure("thin layer: centre of a cylinder open at both ends", "symmetry: half its height", "mm", 6.0,
                  float(sagittal_centre(k)[2]), 0.01)  # fmt: skip
