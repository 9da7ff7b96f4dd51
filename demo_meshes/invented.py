"""Invented upper first molars with known anatomy, as many as a study needs, scanned well or badly on purpose.

``python -m demo_meshes.invented DIR --teeth 40`` writes meshes and ``teeth.csv`` for ``bowtrue study``: every tooth
once by a good scan (the reference) and once for each fault: coarser, noisier, its apices cut off. The columns say
what is known: ``base`` (which tooth), ``fault``, ``size`` of the fault, and the anatomy it was made with.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from demo_meshes.files import write_stl
from demo_meshes.molar import MolarShape, MolarTruth, molar
from mesh_tools.arrays import Array
from mesh_tools.cut import clipped
from mesh_tools.surface import Surface

REFERENCE_STEP_MM = 0.34
FAULTS: tuple[tuple[str, float], ...] = (
    ("step_mm", 0.5), ("step_mm", 0.7), ("step_mm", 1.0),
    ("noise_mm", 0.02), ("noise_mm", 0.05), ("noise_mm", 0.1), ("noise_mm", 0.2),
    ("apex_cut_mm", 1.0), ("apex_cut_mm", 2.0), ("apex_cut_mm", 4.0),
)  # fmt: skip
_BLUR_MM = 1.0  # noise of a scan is alike over about this distance: our assumption
COLUMNS = ("id", "mesh", "tooth", "axes", "unit", "crest_below_cej_mm", "base", "fault", "size", "length_factor",
           "divergence_factor", "fused", "true_root_length_mm", "true_root_area_mm2")  # fmt: skip


@dataclass(frozen=True)
class Invented:
    """One invented tooth: its shape, side, crest level, and the factors it was made with."""

    base: int
    shape: MolarShape
    right: bool
    crest_below_cej_mm: float
    length: float
    divergence: float
    fused: float


def invented(base: int, *, seed: int = 1) -> Invented:
    """Tooth number ``base`` of the population of ``seed``: the same for the same two numbers.

    Root length 8 %, divergence 20 % (SD), one tooth in five with partly fused buccal roots, crest 0 to 1.5 mm below the
    cervical line; spreads are our choice, about the means of ``MolarShape``.
    """
    rng = np.random.default_rng([seed, base])
    length = float(np.clip(1.0 + 0.08 * rng.normal(), 0.8, 1.2))
    divergence = float(np.clip(1.0 + 0.2 * rng.normal(), 0.5, 1.5))
    fused = float(rng.uniform(0.2, 0.6)) if rng.uniform() < 0.2 else 0.0
    crest = float(rng.uniform(0.0, 1.5))
    shape = MolarShape().varied(int(rng.integers(2**31))).with_roots(length=length, divergence=divergence)
    return Invented(
        base, replace(shape, fused_buccal=fused), bool(base % 2), crest, length, divergence, fused
    )


def meshes_of(
    tooth: Invented, faults: Sequence[tuple[str, float]] = FAULTS, *, seed: int = 1
) -> Iterator[tuple[str, float, Surface, MolarTruth]]:
    """Fault, its size, surface in the tooth's own frame (LPS as it stands) and truth: the good scan first."""
    points, faces, truth = molar(tooth.shape, right=tooth.right, step_mm=REFERENCE_STEP_MM)
    good = Surface(points, faces)
    yield "none", 0.0, good, truth
    for fault, size in faults:
        yield fault, size, _faulty(tooth, good, truth, fault, size, seed), truth


def _faulty(tooth: Invented, good: Surface, truth: MolarTruth, fault: str, size: float, seed: int) -> Surface:
    if fault == "step_mm":
        points, faces, _ = molar(tooth.shape, right=tooth.right, step_mm=size)
        return Surface(points, faces)
    if fault == "noise_mm":
        return noisy(good, sd_mm=size, seed=hash_of(seed, tooth.base))
    if fault == "apex_cut_mm":
        apex = max(p[2] for p in truth.apices_mm.values())
        return clipped(good, good.points_mm[:, 2], apex - size)
    raise ValueError(f"fault must be step_mm, noise_mm or apex_cut_mm; got {fault!r}.")


def noisy(surface: Surface, *, sd_mm: float, seed: int) -> Surface:
    """``surface`` with its points moved along their normals by noise of ``sd_mm``, alike over about a millimetre."""
    from scipy.spatial import cKDTree

    rng = np.random.default_rng(seed)
    low, high = surface.points_mm.min(axis=0) - 3.0, surface.points_mm.max(axis=0) + 3.0
    count = int(np.prod((high - low) / _BLUR_MM))
    knots = rng.uniform(low, high, (count, 3))
    away, near = cKDTree(knots).query(surface.points_mm, k=6)
    weight = np.exp(-((away / _BLUR_MM) ** 2))
    value = (weight * rng.normal(size=count)[near]).sum(axis=1) / np.sqrt((weight**2).sum(axis=1))
    return Surface(surface.points_mm + sd_mm * value[:, None] * _normals(surface), surface.faces)


def _normals(surface: Surface) -> Array:
    normals = np.zeros_like(surface.points_mm)
    for k in range(3):
        np.add.at(normals, surface.faces[:, k], surface.area_vectors_mm2)
    return np.asarray(normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300))


def hash_of(seed: int, base: int) -> int:
    """One seed from two numbers."""
    return int(np.random.SeedSequence([seed, base]).generate_state(1)[0])


def write_invented(
    folder: Path, *, teeth: int, seed: int = 1, faults: Sequence[tuple[str, float]] = FAULTS
) -> Path:
    """Write ``teeth`` invented molars with every fault into ``folder``; returns the table ``teeth.csv`` there."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "teeth.csv").open("w", encoding="utf-8", newline="") as stream:
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(COLUMNS)
        for base in range(teeth):
            tooth = invented(base, seed=seed)
            for fault, size, surface, truth in meshes_of(tooth, faults, seed=seed):
                table.writerow(_written(folder, tooth, fault, size, surface, truth))
    return folder / "teeth.csv"


def _written(
    folder: Path, tooth: Invented, fault: str, size: float, surface: Surface, truth: MolarTruth
) -> list[str | int | float]:
    fdi = 16 if tooth.right else 26
    name = f"m{tooth.base:04d}_{fault.removesuffix('_mm')}{f'_{size:g}' if size else ''}_{fdi}"
    write_stl(folder / f"{name}.stl", surface.points_mm, surface.faces)
    neck = truth.cervical_line_mm.mean(axis=0)
    length = float(np.mean([(apex - neck) @ truth.long_axis for apex in truth.apices_mm.values()]))
    return [name, f"{name}.stl", fdi, "LPS", "mm", round(tooth.crest_below_cej_mm, 3), tooth.base, fault, size,
            round(tooth.length, 4), round(tooth.divergence, 4), round(tooth.fused, 3), round(length, 3),
            round(truth.root_area_mm2, 2)]  # fmt: skip


def main(words: Sequence[str] | None = None) -> int:
    """The command line of ``python -m demo_meshes.invented``."""
    parser = argparse.ArgumentParser(
        prog="python -m demo_meshes.invented", description="Invented molars for a study."
    )
    parser.add_argument("folder", type=Path, help="where to write meshes and teeth.csv")
    parser.add_argument("--teeth", type=int, default=40, help="how many teeth (default 40)")
    parser.add_argument("--seed", type=int, default=1, help="which population (default 1)")
    args = parser.parse_args(words)
    print(write_invented(args.folder, teeth=args.teeth, seed=args.seed))
    return 0


if __name__ == "__main__":
    sys.exit(main())
