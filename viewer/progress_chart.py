"""The progress chart: molar relation by month and side over the bands of published rates, hours worn below."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.visits.progress import Progress
from casework.visits.rates import NOT_A_PROMISE
from casework.visits.telling import relation_words, visit_lines
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BadValueError
from mesh_tools.write import write_bytes_atomically, write_text_atomically
from viewer.palette import BLUE, GREEN, GREY, ORANGE, SKY, VERMILION
from viewer.panels import FRAME, INK, SOFT, WARN

_DPI = 150
_EDGE_DASHES = ((0, (1, 1.5)), (0, (5, 2, 1, 2)), (0, (3, 2)))
_SIDE_LOOKS: dict[Side, tuple[str, str, str]] = {"right": (BLUE, "o", "-"), "left": (VERMILION, "s", "--")}
_BAND_COLOURS, _HATCHES = (SKY, GREEN, GREY), ("", "///", "...")


def write_progress(progress: Progress, path: Path, *, case_id: str, look: Sequence[str]) -> None:
    """Write the chart as ``.png`` or as a self-contained ``.html`` page. Raises BadValueError for another ending."""
    kind = path.suffix.lower()
    if kind not in (".png", ".html"):
        raise BadValueError(f"--chart must end in .png or .html; got {path.name!r}.")
    if not progress.visits:
        raise BadValueError("--chart needs a visit; add one first: bowtrue visit CASE --date 2026-11-25 ...")
    picture = progress_png(progress, case_id=case_id)
    if kind == ".png":
        write_bytes_atomically(path, picture)
    else:
        write_text_atomically(path, progress_html(progress, picture, case_id=case_id, look=look))


def progress_html(progress: Progress, picture: bytes, *, case_id: str, look: Sequence[str]) -> str:
    """The page: chart, what to look at next, the visits, sources and cautions."""
    from viewer.templates import rendered

    return rendered(
        "progress.html.j2",
        case_id=case_id,
        picture=base64.b64encode(picture).decode("ascii"),
        look=list(look),
        visits=["\n".join(visit_lines(v)) for v in progress.visits],
        courses=_course_rows(progress),
        bands=[(b.rate.name, b.rate.source, b.rate.condition) for b in progress.bands],
        not_a_promise=NOT_A_PROMISE,
        short_caution=SHORT_CAUTION,
        cautions=CAUTIONS,
    )


def _course_rows(progress: Progress) -> list[tuple[str, str, str, str]]:
    return [
        (side, relation_words(float(c.relation_mm[0])), relation_words(float(c.relation_mm[-1])),
         f"{c.gained_mm:+.1f} mm in {c.over_months:.1f} months")
        for side in SIDES
        if len((c := progress.courses[side]).months)
    ]  # fmt: skip


def progress_png(progress: Progress, *, case_id: str) -> bytes:
    """The chart as PNG."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.5, 8.4), dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(2, 1, height_ratios=(3.1, 1.0), left=0.075, right=0.975, top=0.875, bottom=0.235,
                               hspace=0.14)  # fmt: skip
    upper = figure.add_subplot(grid[0])
    lower = figure.add_subplot(grid[1], sharex=upper)
    _relation(upper, progress)
    _worn(lower, progress)
    figure.suptitle(f"Case {case_id}: molar relation by month", x=0.075, ha="left", fontsize=15, color=INK,
                    fontweight="bold", y=0.965)  # fmt: skip
    figure.text(0.075, 0.915, _wrapped(NOT_A_PROMISE, 128), fontsize=9.5, color=WARN, va="center")
    figure.text(0.075, 0.165, _sources(progress), fontsize=7.6, color=SOFT, va="top", linespacing=1.3)
    figure.text(0.075, 0.012, _wrapped(SHORT_CAUTION, 165), fontsize=8, color=WARN, va="bottom")
    held = io.BytesIO()
    figure.savefig(held, format="png", metadata={"Software": None})
    return held.getvalue()


def _relation(axes: Any, progress: Progress) -> None:
    for k, band in enumerate(progress.bands):
        axes.fill_between(band.months, band.low_mm, band.high_mm, color=_BAND_COLOURS[k % 3], alpha=0.28, lw=0.0,
                          hatch=_HATCHES[k % 3], edgecolor=_BAND_COLOURS[k % 3], label=band.rate.name)  # fmt: skip
    _other_side(axes, progress)
    for side in SIDES:
        course, (colour, mark, dash) = progress.courses[side], _SIDE_LOOKS[side]
        if len(course.months):
            axes.plot(course.months, course.relation_mm, color=colour, marker=mark, ls=dash, lw=2.0, ms=7,
                      mec="white", mew=0.8, label=f"{side} molar, as measured", zorder=3)  # fmt: skip
    axes.axhline(0.0, color=INK, lw=1.0, zorder=2)
    axes.annotate("class I", (1.0, 0.0), xycoords=("axes fraction", "data"), xytext=(-4, 3), ha="right",
                  textcoords="offset points", fontsize=9, color=INK)  # fmt: skip
    seen = [v for c in progress.courses.values() for v in c.relation_mm]
    low, high = min([0.0, *seen]), max([1.0, *seen])
    axes.set_ylim(low - 0.12 * (high - low) - 0.2, high + 0.12 * (high - low))
    axes.set_ylabel("class II left, mm", fontsize=10.5, color=INK)
    if not seen:
        axes.text(
            0.5, 0.5, "No molar relation was measured yet.", transform=axes.transAxes, ha="center", color=SOFT
        )
    axes.tick_params(labelbottom=False, colors=SOFT, labelsize=9.5)
    _tidy(axes)
    handles, _ = axes.get_legend_handles_labels()
    if handles:
        axes.legend(loc="best", fontsize=9, framealpha=0.92, edgecolor=FRAME)


def _other_side(axes: Any, progress: Progress) -> None:
    """Edges of the same bands from the other side's own start, in that side's colour, where it began elsewhere."""
    for side, found in progress.side_bands.items():
        if side == progress.bands_from or _same_start(progress, side):
            continue
        for k, band in enumerate(found):
            for n, edge in enumerate((band.low_mm, band.high_mm)):
                axes.plot(band.months, edge, color=_SIDE_LOOKS[side][0], lw=1.0, ls=_EDGE_DASHES[k % 3], zorder=2,
                          label=f"same, from the {side} side's start" if k + n == 0 else None)  # fmt: skip


def _same_start(progress: Progress, side: Side) -> bool:
    first, own = (progress.courses[s] for s in (progress.bands_from or side, side))
    return bool(first.months[0] == own.months[0] and first.relation_mm[0] == own.relation_mm[0])


def _worn(axes: Any, progress: Progress) -> None:
    for label, which, colour, shift in (("recorded", 1, GREEN, -0.07), ("told", 2, ORANGE, 0.07)):
        seen = [(w[0] + shift, w[which]) for w in progress.wear if w[which] is not None]
        if seen:
            hatch = "" if which == 1 else "///"
            axes.bar([m for m, _ in seen], [h for _, h in seen], width=0.13, color=colour, label=label, hatch=hatch,
                     edgecolor="white", zorder=3)  # fmt: skip
    if progress.prescribed_hours is not None:
        axes.axhline(
            progress.prescribed_hours, color=INK, lw=1.2, ls=(0, (5, 3)), label="prescribed", zorder=2
        )
    last = max(w[0] for w in progress.wear)
    ends = [float(b.months[-1]) for b in progress.bands]
    axes.set_xlim(-0.35, max([last + 0.5, 6.0, *ends]) + 0.1)
    axes.set_ylim(0.0, 27.0 if _most_hours(progress) > 14.0 else 19.0)
    axes.set_yticks([0, 4, 8, 12, 16, 20, 24] if _most_hours(progress) > 14.0 else [0, 4, 8, 12])
    axes.set_ylabel("hours a day", fontsize=10.5, color=INK)
    axes.set_xlabel("months since the first visit", fontsize=10.5, color=INK)
    axes.tick_params(colors=SOFT, labelsize=9.5)
    _tidy(axes)
    handles, _ = axes.get_legend_handles_labels()
    if handles:
        axes.legend(loc="upper right", fontsize=8.5, ncols=3, framealpha=0.92, edgecolor=FRAME)


def _most_hours(progress: Progress) -> float:
    hours = [h for w in progress.wear for h in w[1:] if h is not None]
    return max([0.0, progress.prescribed_hours or 0.0, *hours])


def _tidy(axes: Any) -> None:
    axes.grid(color="#E2E8F0", lw=0.7, zorder=0)
    axes.set_axisbelow(True)
    axes.spines[:].set(color=FRAME)


def _sources(progress: Progress) -> str:
    if not progress.bands:
        return ""
    ends = " and ".join(dict.fromkeys(f"{b.months[-1]:.1f}" for b in progress.bands))
    others = [s for s, found in progress.side_bands.items() if found and not _same_start(progress, s)]
    rows = [f"Filled bands from the {progress.bands_from} side's start, drawn to month {ends}."]
    rows += [f"Lines without filling: edges of the same bands from the {s} side's start." for s in others]
    rows += [_wrapped(f"{b.rate.name}: {b.rate.source}; {b.rate.condition}.", 172) for b in progress.bands]
    return "\n".join(rows)


def _wrapped(text: str, width: int) -> str:
    import textwrap

    return "\n".join(textwrap.wrap(text, width))
