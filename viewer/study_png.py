"""A study's pictures: differences from a reference method, and every method's centres in the mean tooth's outline."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from casework.study.agreement import WAYS, Agreement
from viewer.centre_png import blank, heading
from viewer.palette import METHOD_ROLES, look
from viewer.panels import FRAME, INK, SOFT
from viewer.words import method_name

if TYPE_CHECKING:
    import pandas as pd

_DPI = 150
_MOST_DOTS = 4000


def write_differences_png(
    teeth: pd.DataFrame, agreements: list[Agreement], path: Path, *, reference: str, title: str
) -> None:
    """Difference against mean of each method and ``reference``, one row a method, one column a way of the tooth."""
    own = [a for a in agreements if reference in (a.reference, a.method)]
    methods = list(dict.fromkeys(a.method if a.reference == reference else a.reference for a in own))
    rows = max(1, len(methods))
    figure = blank((17.0, 1.7 + 2.5 * rows), _DPI)
    heading(figure, title, f"Method less {method_name(reference)}, mm, against the mean of the two; dashed: limits "
            "of agreement (mean -+ 1.96 SD).")  # fmt: skip
    high = 1.7 + 2.5 * rows
    for i, method in enumerate(methods):
        for k, way in enumerate(WAYS):
            axes = figure.add_axes(
                (0.075 + 0.315 * k, 1.0 - (1.5 + 2.5 * (i + 1) - 0.62) / high, 0.275, 1.72 / high)
            )
            _difference(axes, teeth, method, reference, way)
            if i == 0:
                axes.set_title(way, fontsize=12, fontweight="bold", color=INK, loc="left")
            if k == 0:
                axes.set_ylabel(method_name(method), fontsize=9.5, color=INK)
    figure.savefig(path, metadata={"Software": None})


def _difference(axes: Any, teeth: pd.DataFrame, method: str, reference: str, way: str) -> None:
    one, other = (_column(teeth, m, way) for m in (method, reference))
    both = one.index.intersection(other.index)
    x = 0.5 * (one[both] + other[both]).to_numpy()
    d = (one[both] - other[both]).to_numpy()
    mean, sd = float(d.mean()), float(d.std(ddof=1))
    shown = _some(len(d))
    axes.plot(
        x[shown], d[shown], ".", ms=4, alpha=0.55, color=look(METHOD_ROLES.get(method, "estimate")).colour
    )
    axes.axhline(0.0, color=FRAME, lw=1.0, zorder=0)
    axes.axhline(mean, color=INK, lw=1.2)
    for end in (mean - 1.96 * sd, mean + 1.96 * sd):
        axes.axhline(end, color=INK, lw=1.0, ls=(0, (4, 3)))
    axes.set_title(
        f"{mean:+.2f} ({mean - 1.96 * sd:+.2f} to {mean + 1.96 * sd:+.2f})",
        fontsize=9,
        color=SOFT,
        loc="right",
    )
    _quiet(axes)


def write_cloud_png(teeth: pd.DataFrame, outline: pd.DataFrame, path: Path, *, title: str) -> None:
    """Every tooth's centre by every method from the side and from the front, in the mean tooth's outline."""
    methods = [m for m in METHOD_ROLES if m in set(teeth["method"])]
    columns = max(1, len(methods))
    wide = 1.2 + 2.35 * columns
    figure = blank((wide, 8.6), _DPI)
    heading(figure, title, "Tooth's own frame, origin at the furcation's roof; filled: the mean tooth's outermost "
            "reach. Ellipse: 95 % of the teeth.")  # fmt: skip
    for j, method in enumerate(methods):
        for i, (way, against) in enumerate((("distal", "mesial"), ("buccal", "lingual"))):
            axes = figure.add_axes(((0.75 + 2.35 * j) / wide, 0.5 - 0.425 * i, 2.05 / wide, 0.36))
            _silhouette(axes, outline, f"{against}_end_mm", f"{way}_end_mm")
            _cloud(axes, teeth, method, way)
            axes.set_xlabel(f"{against} - {way}, mm", fontsize=8.5, color=SOFT)
            if i == 0:
                axes.set_title(method_name(method), fontsize=9.5, fontweight="bold", color=INK)
            if j == 0:
                axes.set_ylabel("occlusal - apical, mm", fontsize=8.5, color=SOFT)
            else:
                axes.set_yticklabels([])
    figure.savefig(path, metadata={"Software": None})


def _silhouette(axes: Any, outline: pd.DataFrame, low: str, high: str) -> None:
    axes.fill_betweenx(
        outline["apical_mm"], outline[low], outline[high], color=look("molar").colour, lw=0, zorder=0
    )
    for end in (low, high):
        axes.plot(outline[end], outline["apical_mm"], color=look("molar").text, lw=0.8, alpha=0.6, zorder=1)


def _cloud(axes: Any, teeth: pd.DataFrame, method: str, way: str) -> None:
    from matplotlib.patches import Ellipse

    rows = teeth[teeth["method"] == method]
    points = rows[[f"centre_{way}_mm", "centre_apical_mm"]].to_numpy(float)
    role = look(METHOD_ROLES.get(method, "estimate"))
    shown = _some(len(points))
    axes.plot(points[shown, 0], points[shown, 1], ".", ms=4, alpha=0.5, color=role.colour, zorder=3)
    mean = points.mean(axis=0)
    axes.plot(*mean, "+", ms=11, mew=1.8, color=INK, zorder=5)
    if len(points) > 2:
        values, vectors = np.linalg.eigh(np.cov(points.T))
        half = np.sqrt(np.maximum(values, 0.0) * 5.991)  # chi-square, two degrees of freedom, 95 %
        angle = float(np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1])))
        axes.add_patch(
            Ellipse(mean, 2 * half[1], 2 * half[0], angle=angle, fill=False, ec=role.text, lw=1.4, zorder=4)
        )
    axes.set(xlim=(-9.0, 9.0), ylim=(-12.5, 13.5), aspect="equal")
    axes.text(
        0.03, 0.03, f"{mean[0]:+.2f}, {mean[1]:+.2f}", transform=axes.transAxes, fontsize=8.5, color=role.text
    )
    _quiet(axes)


def _column(teeth: pd.DataFrame, method: str, way: str) -> Any:
    return teeth[teeth["method"] == method].set_index("line")[f"centre_{way}_mm"]


def _some(count: int) -> Any:
    """Which of ``count`` dots to draw: all, or as many as a picture can show."""
    return np.unique(np.linspace(0, count - 1, min(count, _MOST_DOTS)).astype(int))


def _quiet(axes: Any) -> None:
    axes.tick_params(labelsize=8, colors=SOFT)
    axes.grid(color="#E2E8F0", lw=0.6, zorder=0)
    axes.set_axisbelow(True)
    axes.spines[:].set(color=FRAME)
