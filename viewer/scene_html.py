"""``scene.html``: one self-contained page to turn the scene in, without a single request off the machine.

The drawing library is inlined from its wheel; a content security policy in the page forbids it every connection.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from casework.cautions import SHORT_CAUTION
from viewer.palette import look
from viewer.scene import Scene
from viewer.scene_traces import notes_of, traces_of
from viewer.stress_colours import STOPS
from viewer.templates import rendered
from viewer.view import scene_bounds, view_from

_WIDTH_OVER_HEIGHT = 1.25
_VIEWS: dict[str, dict[str, Any]] = {
    "From the right": {"eye": (-1, 0, 0), "up": (0, 0, 1), "side": "right", "like": "right"},
    "From the left": {"eye": (1, 0, 0), "up": (0, 0, 1), "side": "left", "like": "left"},
    "From the front": {"eye": (0, -1, 0), "up": (0, 0, 1), "side": "", "like": "front"},
    "From above": {"eye": (0, 0, 1), "up": (0, -1, 0), "side": "", "like": "above"},
    "Free": {"eye": (-0.62, -0.62, 0.48), "up": (0, 0, 1), "side": "", "like": "above"},
}


def scene_html(scene: Scene) -> str:
    """The whole page as text."""
    from plotly.offline import get_plotlyjs

    return rendered(
        "scene.html.j2",
        title=scene.title,
        captions=list(scene.captions.values()),
        caution=SHORT_CAUTION,
        groups=_groups(scene),
        views=list(_VIEWS),
        close_ups=[{"title": f.title, "side": f.side} for f in scene.focuses],
        stress=scene.stress_scale,
        stress_stops=STOPS,
        library=get_plotlyjs(),
        data=script_json(page_data(scene)),
    )


def page_data(scene: Scene) -> dict[str, Any]:
    """What the page's script draws: traces, texts, views, close-ups and the box that holds the scene."""
    low, high = scene_bounds(scene)
    return {
        "traces": traces_of(scene),
        "notes": notes_of(scene),
        "views": {name: _aimed(scene, view) for name, view in _VIEWS.items()},
        "widthOverHeight": _WIDTH_OVER_HEIGHT,
        "closeUps": {f.title: {"side": f.side, "centre": [round(float(v), 3) for v in f.centre_mm],
                               "half": round(f.half_height_mm, 3)} for f in scene.focuses},
        "low": np.round(low, 3).tolist(),
        "high": np.round(high, 3).tolist(),
    }  # fmt: skip


def _aimed(scene: Scene, view: dict[str, Any]) -> dict[str, Any]:
    """A named view with what it is centred on and half its height on the patient."""
    still = view_from(scene, view["like"], width_over_height=_WIDTH_OVER_HEIGHT)
    return {**view, "centre": np.round(still.centre_mm, 3).tolist(), "half": round(still.half_height_mm, 3)}


def script_json(value: Any) -> str:
    """JSON that is safe between script tags: nothing in it can end the element or start a comment."""
    text = json.dumps(value, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _groups(scene: Scene) -> list[dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for item in scene.items():
        style = look(item.role)
        found.setdefault(item.group, {"name": item.group, "colour": style.colour, "dashed": style.dashed,
                                      "shown": not item.hidden_at_first})  # fmt: skip
    return list(found.values())
