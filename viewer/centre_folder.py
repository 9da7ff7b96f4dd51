"""Writes a centre's folder: numbers, root, pictures, page; all of it or nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from casework.centre import CentreReport
from casework.centre_table import centre_csv
from casework.estimates_along import EstimatesAlong, estimates_along
from casework.loaded_root import LoadedRoot, loaded_roots
from casework.tooth_directions import tooth_directions
from casework.writing import filled_folder
from viewer.drawing_probe import NO_DRAWING, drawing_probe


def write_centre_folder(report: CentreReport, out: Path, *, progress: Callable[[str], None]) -> list[str]:
    """Write ``centre.json``, ``centre.csv``, the pictures, ``centre.html`` and, for a scan with roots, ``root.ply``.

    Returns the lines to tell the user (such as what is missing for 3D pictures). Nothing is written if it fails.
    """
    from mesh_tools.write import write_ply

    with filled_folder(out) as folder:
        progress("writing the numbers")
        text = json.dumps(report.as_dict(), indent=2, allow_nan=False)
        (folder / "centre.json").write_text(text + "\n", "utf-8")
        (folder / "centre.csv").write_text(centre_csv(report), "utf-8")
        if report.root is not None:
            write_ply(folder / "root.ply", report.root)
        return _write_pictures(report, folder, progress)


def _write_pictures(report: CentreReport, folder: Path, progress: Callable[[str], None]) -> list[str]:
    from viewer.centre_page import centre_html

    estimates, loads = estimates_along(report), loaded_roots(report)
    progress("asking whether this machine draws in 3D")
    probe = drawing_probe()
    _draw(report, estimates, loads, folder, progress, probe.window)
    progress("writing centre.html")
    names = ("estimates.png", "centre.png", "ligament.png")  # in the order of the page
    pictures = {name: (folder / name).read_bytes() for name in names if (folder / name).exists()}
    (folder / "centre.html").write_text(centre_html(report, estimates, loads, pictures), "utf-8")
    return [] if probe.can_draw else [NO_DRAWING]


def _draw(
    report: CentreReport, estimates: EstimatesAlong, loads: tuple[LoadedRoot, ...], folder: Path,
    progress: Callable[[str], None], window: str | None,
) -> None:  # fmt: skip
    """``centre.png`` and ``estimates.png``; ``ligament.png`` for a scan with roots."""
    from viewer.centre_png import write_centre_png
    from viewer.estimates_png import write_estimates_png
    from viewer.ligament_png import write_ligament_png
    from viewer.scene_of_centre import scene_of_centre

    progress("drawing centre.png")
    scene = scene_of_centre(report)
    write_centre_png(scene, tooth_directions(report), folder / "centre.png", window=window)
    progress("drawing estimates.png")
    title = f"Tooth {report.tooth.fdi}: estimates of the centre of resistance"
    write_estimates_png(estimates, folder / "estimates.png", title=title)
    if loads:
        progress("drawing ligament.png")
        write_ligament_png(report, loads, folder / "ligament.png", window=window)
