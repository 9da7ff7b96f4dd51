"""``pulls.html``: three pulls of one case side by side on one self-contained page."""

from __future__ import annotations

import json
from importlib.metadata import version
from pathlib import Path
from typing import Any

from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.pull_context import KEY_RIDGE_SOURCE
from casework.pull_words import COMFORT_SAID, KIND_WORDS, comparison_rows, differences
from casework.pulls import PullComparison, PulledKind, comparison_as_dict
from casework.writing import filled_folder
from mechanics.sides import SIDES
from viewer.scene_of_plan import scene_of_plan
from viewer.side_view_svg import side_view_svg
from viewer.templates import rendered


def pulls_html(found: PullComparison) -> str:
    """The page as text."""
    return rendered(
        "pulls.html.j2",
        case_id=found.case_id,
        version=version("bowtrue"),
        kinds=[_kind(k, found) for k in found.kinds],
        tables=[{"side": s, "rows": comparison_rows(found, s)} for s in SIDES],
        short=differences(found),
        notes=[n for k in found.kinds for n in _notes(k)],
        comfort=COMFORT_SAID,
        ridge_how=found.ridge["right"].how,
        ridge_source=KEY_RIDGE_SOURCE,
        cautions=CAUTIONS,
        short_caution=SHORT_CAUTION,
        inputs=next(k.plan.inputs for k in found.kinds if k.plan is not None),
    )


def write_pulls_folder(found: PullComparison, out: Path) -> None:
    """Write ``pulls.json`` and ``pulls.html`` into ``out``, both or neither."""
    with filled_folder(out) as folder:
        text = json.dumps(comparison_as_dict(found), indent=2, allow_nan=False)
        (folder / "pulls.json").write_text(text + "\n", "utf-8")
        (folder / "pulls.html").write_text(pulls_html(found), "utf-8")


def _kind(pulled: PulledKind, found: PullComparison) -> dict[str, Any]:
    scene = None if pulled.plan is None else scene_of_plan(pulled.plan)
    return {
        "name": KIND_WORDS[pulled.kind],
        "own": pulled.kind == found.own,
        "refused": pulled.refused,
        "assumed": pulled.assumed,
        "moves": [(s, pulled.sides[s].movement_words) for s in SIDES if s in pulled.sides],
        "comfort": [(s, pulled.sides[s].comfort) for s in SIDES if s in pulled.sides],
        "svgs": [] if scene is None else [(s, side_view_svg(scene, s)) for s in SIDES],
    }


def _notes(pulled: PulledKind) -> list[str]:
    if pulled.plan is None:
        return []
    return [
        f"{KIND_WORDS[pulled.kind].capitalize()}: {text}"
        for text in (*pulled.plan.refusals, *pulled.plan.warnings)
    ]
