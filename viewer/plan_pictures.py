"""The pictures and the report of a plan's folder: ``scene.png``, ``side.png``, ``bow.png``, ``scene.html``,
``report.html``, ``report.pdf``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from viewer.drawing_probe import NO_DRAWING, drawing_probe
from viewer.extras import FIGURES, PDF, lacking

if TYPE_CHECKING:
    from casework.case_copy import CaseUsed
    from casework.plan import Plan


def write_pictures(
    plan: Plan, folder: Path, *, progress: Callable[[str], None], used: CaseUsed | None = None
) -> list[str]:
    """Write the six files into ``folder``; returns the lines to tell the user (what is missing for 3D pictures)."""
    if lacking(*FIGURES):
        return _without_pictures(plan, folder, used)
    from viewer.bow_png import write_bow_png
    from viewer.report import report_html
    from viewer.scene_html import scene_html
    from viewer.scene_of_bow import bench_and_worn
    from viewer.scene_of_plan import scene_of_plan
    from viewer.scene_of_sides import scene_of_sides
    from viewer.scene_png import write_scene_png
    from viewer.side_png import write_side_png

    scene = scene_of_plan(plan)
    progress("asking whether this machine draws in 3D")
    probe = drawing_probe()
    progress("drawing scene.png")
    write_scene_png(scene, folder / "scene.png", window=probe.window)
    progress("drawing side.png")
    write_side_png(scene_of_sides(plan), folder / "side.png", window=probe.window)
    progress("drawing bow.png")
    bow = folder / "bow.png"
    title = f"Case {plan.case_id}: bench shape and worn shape"
    write_bow_png(*bench_and_worn(plan), bow, title=title, window=probe.window)
    progress("writing scene.html")
    (folder / "scene.html").write_text(scene_html(scene), "utf-8")
    progress("writing report.html")
    png = (folder / "scene.png").read_bytes()
    side_png = (folder / "side.png").read_bytes()
    page = report_html(plan, scene, picture_png=png, bow_png=bow.read_bytes(), side_png=side_png, used=used)
    (folder / "report.html").write_text(page, "utf-8")
    if not lacking(*PDF):
        from viewer.report_pdf import report_pdf

        progress("writing report.pdf")
        pages = report_pdf(
            plan, scene, picture_png=png, bow_png=bow.read_bytes(), side_png=side_png, used=used
        )
        (folder / "report.pdf").write_bytes(pages)
    return [] if probe.can_draw else [NO_DRAWING]


def _without_pictures(plan: Plan, folder: Path, used: CaseUsed | None) -> list[str]:
    """The report alone, for an installation without the libraries that draw."""
    from viewer.report import report_html
    from viewer.scene_of_plan import scene_of_plan

    scene = scene_of_plan(plan)
    (folder / "report.html").write_text(report_html(plan, scene, used=used), "utf-8")
    if not lacking(*PDF):
        from viewer.report_pdf import report_pdf

        (folder / "report.pdf").write_bytes(report_pdf(plan, scene, used=used))
    return [
        f"No pictures: {', '.join(lacking(*FIGURES))} not installed; pip install 'bowtrue[figures]' brings them. The "
        "numbers and the report are complete."
    ]
