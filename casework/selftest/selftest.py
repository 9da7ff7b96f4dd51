"""All figures of the self-test, and what to say of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from casework.selftest.figure import Figure
from casework.selftest.ligament_figures import ligament_figures
from casework.selftest.statics_figures import statics_figures
from casework.selftest.wire_figures import wire_figures

GROUPS = {
    "ligament and centres": ligament_figures,
    "wire": wire_figures,
    "lines, shares, landmarks": statics_figures,
}


def all_figures() -> Iterator[tuple[str, Figure]]:
    """Group and figure, one after the other as they are computed."""
    for group, figures in GROUPS.items():
        for figure in figures():
            yield group, figure


def figure_text(figure: Figure) -> str:
    """One line: sound or not, the name, both values and the source."""
    mark = "ok  " if figure.sound else "FAIL"
    unit = f" {figure.unit}" if figure.unit else ""
    values = f"{figure.wanted:>10.4f} {figure.found:>10.4f}{unit:<6} +-{figure.tolerance:<9.2g}"
    return f"  {mark} {figure.name:<58} {values} {figure.source}"


def as_dict(found: list[tuple[str, Figure]]) -> dict[str, Any]:
    """Plain numbers for JSON; a value that is not finite becomes null."""
    rows = [
        {"group": g, **asdict(f), "found": f.found if f.found == f.found else None, "sound": f.sound}
        for g, f in found
    ]
    return {"sound": all(f.sound for _, f in found), "figures": rows}
