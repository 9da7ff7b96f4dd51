"""The curve of offset against bend as an SVG drawing that follows the page's light or dark look."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np

from mesh_tools.arrays import Array
from viewer.page.words import say

if TYPE_CHECKING:
    from casework.desk.solving import OffsetCurve

_WIDE, _HIGH = 270.0, 190.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, 15.0, 10.0, 34.0


class _Scale:
    """From degrees and mm to the drawing."""

    def __init__(self, curve: OffsetCurve) -> None:
        known = np.concatenate([curve.rigid_mm, curve.flexed_mm, [curve.wanted_mm]])
        known = known[np.isfinite(known)]
        self.low_deg, self.high_deg = float(curve.bends_deg[0]), float(curve.bends_deg[-1])
        pad = 0.06 * max(float(np.ptp(known)), 2.0)
        self.low_mm, self.high_mm = float(known.min()) - pad, float(known.max()) + pad

    def x(self, deg: float) -> float:
        """Across, in the drawing's own unit."""
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * (deg - self.low_deg) / (self.high_deg - self.low_deg)

    def y(self, mm: float) -> float:
        """Down, in the drawing's own unit."""
        return _TOP + (_HIGH - _TOP - _BOTTOM) * (self.high_mm - mm) / (self.high_mm - self.low_mm)


def plot_svg(curve: OffsetCurve, *, now_deg: float, now_mm: float | None) -> str:
    """The drawing: rigid and flexed curve, the aim, the solution marked, and a ring where the handle stands."""
    scale = _Scale(curve)
    parts = [*_grid(scale), _aim(scale, curve)]
    parts.append(_line(scale, curve.bends_deg, curve.rigid_mm, "curve rigid"))
    parts.append(_line(scale, curve.bends_deg, curve.flexed_mm, "curve flexed"))
    meets = curve.flexed_meets_deg
    if meets is not None:
        x, y = scale.x(meets), scale.y(curve.wanted_mm)
        parts.append(f'<path class="mark" data-meets="{meets:.2f}" d="M{x:.1f} {y - 7:.1f}l6 7-6 7-6-7z"/>')
    if now_mm is not None and scale.low_deg <= now_deg <= scale.high_deg:
        parts.append(f'<circle class="now" cx="{scale.x(now_deg):.1f}" cy="{scale.y(now_mm):.1f}" r="5"/>')
    title = escape(say("curve_title", side=say(f"side_{curve.side}")))
    return (
        f'<svg class="bt-plot" viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" role="img" aria-label="{title}">'
        f"<title>{title}</title>{''.join(parts)}</svg>"
    )


def _line(scale: _Scale, bends: Array, offsets: Array, kind: str) -> str:
    """A polyline with gaps where there is no answer."""
    path, pen = [], "M"
    for deg, mm in zip(bends, offsets, strict=True):
        if not np.isfinite(mm):
            pen = "M"
            continue
        path.append(f"{pen}{scale.x(float(deg)):.1f} {scale.y(float(mm)):.1f}")
        pen = "L"
    return f'<path class="{kind}" d="{"".join(path)}"/>' if path else ""


def _aim(scale: _Scale, curve: OffsetCurve) -> str:
    y = scale.y(curve.wanted_mm)
    return f'<line class="zero" x1="{_LEFT}" x2="{_WIDE - _RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'


def _grid(scale: _Scale) -> list[str]:
    found = []
    for deg in _ticks(scale.low_deg, scale.high_deg):
        x = scale.x(deg)
        found.append(f'<line class="grid" x1="{x:.1f}" x2="{x:.1f}" y1="{_TOP}" y2="{_HIGH - _BOTTOM}"/>')
        found.append(f'<text x="{x:.1f}" y="{_HIGH - _BOTTOM + 13}" text-anchor="middle">{deg:g}°</text>')
    for mm in _ticks(scale.low_mm, scale.high_mm):
        y = scale.y(mm)
        found.append(f'<line class="grid" x1="{_LEFT}" x2="{_WIDE - _RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>')
        found.append(f'<text x="{_LEFT - 4}" y="{y + 4:.1f}" text-anchor="end">{mm:g}</text>')
    found.append(f'<text x="{_LEFT}" y="{_HIGH - 4}">{escape(say("curve_axes"))}</text>')
    return found


def _ticks(low: float, high: float) -> list[float]:
    """Round numbers between ``low`` and ``high``, four to eight of them."""
    step = next(s for s in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if (high - low) / s <= 8.0 or s == 50.0)
    return [float(v) for v in np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step]
