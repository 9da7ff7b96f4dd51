"""``errors.png``: how far each fault of a scan moves each method's centre, and how many scans were refused."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from casework.study.scan_errors import ScanError
from viewer.centre_png import blank, heading
from viewer.draw_flat import MARKERS
from viewer.palette import METHOD_ROLES, look
from viewer.panels import FRAME, INK, SOFT
from viewer.words import method_name

_WORDS = {
    "step_mm": ("Coarser mesh", "edge length, mm (the good scan: 0.34)"),
    "noise_mm": ("Noise", "standard deviation, mm"),
    "apex_cut_mm": ("Apices cut off", "missing, mm"),
}


def write_errors_png(errors: Sequence[ScanError], path: Path, *, title: str) -> None:
    """One chart a fault: root mean square and 95th percentile of the centre's shift against the fault's size."""
    faults = [f for f in _WORDS if any(e.fault == f for e in errors)]
    faults += sorted({e.fault for e in errors} - set(faults))
    figure = blank((17.0, 7.6), 150)
    heading(figure, title, "Distance of the centre from that of the same tooth scanned well, mm: line the root mean "
            "square, band up to the 95th percentile.")  # fmt: skip
    for k, fault in enumerate(faults):
        axes = figure.add_axes((0.05 + 0.96 * k / len(faults), 0.17, 0.96 / len(faults) - 0.045, 0.62))
        _chart(axes, [e for e in errors if e.fault == fault], fault)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="lower center", ncol=len(labels), frameon=False, fontsize=10)
    figure.savefig(path, metadata={"Software": None})


def _chart(axes: Any, errors: Sequence[ScanError], fault: str) -> None:
    name, unit = _WORDS.get(fault, (fault, "size"))
    for method in [m for m in METHOD_ROLES if any(e.method == m for e in errors)]:
        own = sorted((e for e in errors if e.method == method), key=lambda e: e.size)
        role = look(METHOD_ROLES[method])
        sizes = [e.size for e in own]
        axes.plot(sizes, [e.rms_mm for e in own], MARKERS[role.glyph], ls="-", ms=6, color=role.colour,
                  label=method_name(method))  # fmt: skip
        axes.fill_between(
            sizes, [e.rms_mm for e in own], [e.p95_mm for e in own], color=role.colour, alpha=0.08, lw=0
        )
    axes.set_title(name, fontsize=13, fontweight="bold", color=INK, loc="left")
    axes.set_xlabel(unit, fontsize=10, color=SOFT)
    refused = {e.size: e.refused for e in errors}
    told = ", ".join(f"{size:g}: {share:.0%}" for size, share in sorted(refused.items()) if share > 0.0)
    if told:
        axes.set_title(f"refused: {told}", fontsize=9, color=SOFT, loc="right")
    axes.set_ylim(bottom=0.0)
    axes.tick_params(labelsize=9, colors=SOFT)
    axes.grid(color="#E2E8F0", lw=0.6)
    axes.set_axisbelow(True)
    axes.spines[:].set(color=FRAME)
