"""``ligament.png``: pressure on the root under a distal force, through the crown and where it tips nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from casework.centre import CentreReport
from casework.loaded_root import LoadedRoot
from casework.tooth_directions import ToothDirections, tooth_directions
from viewer.centre_png import blank, heading
from viewer.panels import INK, SOFT, painter, panel
from viewer.pressure_colours import pressure_colours, round_limit
from viewer.scene import Scene
from viewer.scene_of_centre import scene_of_load
from viewer.tooth_views import ToothSide, compass_of, tooth_view

_INCHES, _DPI = (18.0, 13.4), 140
_SEEN_FROM: tuple[ToothSide, ...] = ("mesial", "buccal", "distal", "lingual")
_LOW, _HIGH, _HEAD = 0.053, 0.915, 0.05
_NOTE = (
    "Each row has its own scale. Elastic foundation, tooth and bone rigid: pattern and pressure per newton hold for\n"
    "any modulus; how far the tooth moves does not (published moduli differ by two orders of magnitude), so no\n"
    "movement is shown. Colours averaged over neighbouring facets."
)


def write_ligament_png(
    report: CentreReport, loads: Sequence[LoadedRoot], path: Path, *, window: str | None
) -> None:
    """Write the picture of ``loads`` (one row each); ``window`` as the probe found it, None for matplotlib alone."""
    figure = blank(_INCHES, _DPI)
    height = (_HIGH - _LOW) / len(loads)
    for k, load in enumerate(loads):
        low = _HIGH - (k + 1) * height
        limit = round_limit(load.largest_kpa)
        scene = scene_of_load(report, load, limit_kpa=limit)
        _row(figure, scene, tooth_directions(report), (low, height - _HEAD), window)
        _row_heading(figure, f"{scene.title}: {_sizes(load)}", low + height - _HEAD, limit)
    heading(figure, f"Tooth {report.tooth.fdi}: pressure of the ligament on the root", _what(report))
    figure.text(0.012, 0.046, _NOTE, va="top", fontsize=9.0, color=SOFT, linespacing=1.3)
    figure.savefig(path, metadata={"Software": None})


def _row(
    figure: Any, scene: Scene, directions: ToothDirections, place: tuple[float, float], window: str | None
) -> None:
    low, high = place
    for k, where in enumerate(_SEEN_FROM):
        axes = figure.add_axes((0.012 + k * 0.2455, low, 0.2395, high))
        ratio = 0.2395 * _INCHES[0] / (high * _INCHES[1])
        view = tooth_view(scene, directions, where, width_over_height=ratio, column_mm=0.3)
        panel(axes, scene, view, painter(window), compass=compass_of(directions))


def _row_heading(figure: Any, text: str, low: float, limit_kpa: float) -> None:
    """What the row shows, and its colour bar with the unit."""
    figure.text(0.012, low + 0.014, text, fontsize=12, fontweight="bold", color=INK)
    axes = figure.add_axes((0.725, low + 0.022, 0.2, 0.013))
    values = np.linspace(-limit_kpa, limit_kpa, 400)
    axes.imshow(
        pressure_colours(values, limit_kpa=limit_kpa)[None],
        extent=(-limit_kpa, limit_kpa, 0, 1),
        aspect="auto",
    )
    axes.set(yticks=[], xticks=np.linspace(-limit_kpa, limit_kpa, 5))
    axes.tick_params(labelsize=8.5, colors=INK, length=2.5, pad=1.5)
    axes.spines[:].set(linewidth=0.6)
    axes.text(
        -0.02, 0.5, "stretched", transform=axes.transAxes, va="center", ha="right", fontsize=10, color=INK
    )
    axes.text(1.02, 0.5, "squeezed, kPa", transform=axes.transAxes, va="center", fontsize=10, color=INK)


def _sizes(load: LoadedRoot) -> str:
    pressure = load.pressure_kpa
    return (
        f"up to {pressure.max():.2g} kPa squeezed, {abs(pressure.min()):.2g} kPa stretched; "
        f"99 % of the root within {load.largest_kpa:.2g} kPa"
    )


def _what(report: CentreReport) -> str:
    return (
        f"{report.step[0].upper()}{report.step[1:]}; crest {report.crest_below_cej_mm:.2g} mm below the cervical line; "
        f"Poisson's ratio {report.ligament.nu:g}. The green arrow is the line of force; its length says nothing."
    )
