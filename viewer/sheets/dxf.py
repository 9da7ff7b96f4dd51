"""A sheet as DXF, one to one: units mm, one layer a kind of thing, origin in the page's lower left corner."""

from __future__ import annotations

import io
from typing import Any

from viewer.sheets.fonts import CAP
from viewer.sheets.model import LAYERS, Arc, Circle, Item, Path, Sheet, Stroke, Text

_WIDTHS = (0, 5, 9, 13, 15, 18, 20, 25, 30, 35, 40, 50, 53, 60, 70, 80, 90, 100, 106, 120, 140, 158, 200, 211)
_ALIGN = {"start": "LEFT", "middle": "CENTER", "end": "RIGHT"}
_WIDE_MM = 1.0  # from here on a line is drawn as wide as it is


def sheet_dxf(sheet: Sheet) -> str:
    """The file's text; raises ModuleNotFoundError without ezdxf."""
    from ezdxf import units
    from ezdxf.filemanagement import new

    document = new("R2010", setup=True)
    document.units = units.MM
    document.header["$MEASUREMENT"] = 1
    document.header["$LTSCALE"] = 1.0
    document.styles.new("SHEET", dxfattribs={"font": "DejaVuSans.ttf"})
    document.styles.new("SHEET_BOLD", dxfattribs={"font": "DejaVuSans-Bold.ttf"})
    document.linetypes.add("SHEET_DASHED", pattern=[3.0, 2.0, -1.0])
    for layer in LAYERS:
        document.layers.add(layer)
    space = document.modelspace()
    for item in sheet.items:
        _add(space, item)
    out = io.StringIO()
    document.write(out)
    return out.getvalue()


def _add(space: Any, item: Item) -> None:
    if isinstance(item, Text):
        _text(space, item)
    elif isinstance(item, Path):
        _path(space, item)
    elif isinstance(item, Circle):
        if item.stroke is not None or item.fill is not None:
            space.add_circle(item.centre, item.radius, dxfattribs=_looks(item, item.stroke))
    else:
        _arc(space, item)


def _arc(space: Any, item: Arc) -> None:
    space.add_arc(item.centre, item.radius, item.from_deg, item.to_deg, dxfattribs=_looks(item, item.stroke))


def _path(space: Any, item: Path) -> None:
    """A line or a polyline; what is only filled is left out, as a drawing for cutting has no use for it."""
    if item.stroke is None:
        return
    looks = _looks(item, item.stroke)
    if len(item.points) == 2:
        space.add_line(*item.points, dxfattribs=looks)
    else:
        if item.stroke.width_mm >= _WIDE_MM:
            looks["const_width"] = item.stroke.width_mm
        space.add_lwpolyline(item.points, close=item.closed, dxfattribs=looks)


def _looks(item: Item, stroke: Stroke | None) -> dict[str, Any]:
    shown = Stroke() if stroke is None else stroke
    hundredths = min(_WIDTHS, key=lambda w: abs(w - 100.0 * shown.width_mm))
    looks: dict[str, Any] = {
        "layer": item.layer,
        "true_color": int(shown.colour[1:], 16),
        "lineweight": hundredths,
    }
    if shown.dash_mm is not None:
        looks |= {"linetype": "SHEET_DASHED", "ltscale": sum(shown.dash_mm) / 3.0}
    return looks


def _text(space: Any, item: Text) -> None:
    from ezdxf.enums import TextEntityAlignment

    looks = {
        "layer": item.layer,
        "true_color": int(item.colour[1:], 16),
        "style": "SHEET_BOLD" if item.bold else "SHEET",
        "rotation": item.turn_deg,
    }
    text = space.add_text(item.text, height=CAP * item.size_mm, dxfattribs=looks)
    text.set_placement(item.at, align=TextEntityAlignment[_ALIGN[item.anchor]])
