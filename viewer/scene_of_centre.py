"""The scene of one tooth's centre of resistance: tooth, cervical line, crest, estimates, region, axes of resistance.

A pure function of the report. Coordinates are the report's own, LPS mm.
"""

from __future__ import annotations

import numpy as np

from casework.centre import CentreReport
from casework.confidence import Confidence
from casework.loaded_root import LoadedRoot
from casework.tooth_directions import axes_of_tooth, tooth_directions
from mechanics.centres.axes import AxisOfResistance
from mesh_tools.arrays import Array, IntArray
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops
from viewer.glyph_shapes import tube_shape
from viewer.palette import METHOD_ROLES, look
from viewer.pressure_colours import pressure_colours
from viewer.scene import ArrowItem, LabelItem, LineItem, PointItem, Scene, SurfaceItem
from viewer.words import method_name

TOOTH, ESTIMATES, REGION, AXES, LOAD = "Tooth", "Estimates", "Region", "Axes of resistance", "Load"
_TOOTH_OPACITY, _AXIS_HALF_MM, _GLYPH_MM, _LEAST_HALF_MM = 0.34, 7.0, 0.62, 0.02
_STATIONS = 33
_TAIL_MM, _HEAD_MM, _INSET_MM = 2.0, 4.0, 0.05


def scene_of_centre(report: CentreReport) -> Scene:
    """Everything that ``centre.png`` shows of the report."""
    region = () if report.confidence is None else (_region(report.confidence),)
    axes_lines, axes_labels = _axes(report)
    lines, labels = _landmarks(report)
    return Scene(
        title=f"Tooth {report.tooth.fdi}: centre of resistance",
        surfaces=(*_tooth(report), *region),
        lines=(*lines, *axes_lines),
        points=tuple(_estimate(report, name) for name in report.methods),
        labels=(*labels, *axes_labels, *_region_label(report)),
        captions={"left" if report.tooth.left else "right": _caption(report)},
    )


def scene_of_load(report: CentreReport, load: LoadedRoot, *, limit_kpa: float) -> Scene:
    """The tooth, its root coloured by pressure from ``-limit_kpa`` to ``limit_kpa``, and the line of force."""
    colours = pressure_colours(load.smoothed_kpa, limit_kpa=limit_kpa)
    root = SurfaceItem(name="pressure on the root", group=LOAD, role="molar", points_mm=load.root.points_mm,
                       faces=load.root.faces, face_colours=colours)  # fmt: skip
    size = float(np.linalg.norm(load.force_n))
    tail, head = _through(report, load, load.force_n / size)
    arrow = ArrowItem(
        name="force", group=LOAD, role="force", at_mm=tail, vector_mm=head - tail, text=f"{size:g} N"
    )
    return Scene(
        title=f"{size:g} N distal, {load.words}", surfaces=(*_inset_tooth(report), root), arrows=(arrow,)
    )


def _through(report: CentreReport, load: LoadedRoot, way: Array) -> tuple[Array, Array]:
    """Tail and head (3,) of an arrow along the line of force that sticks out of the tooth on both sides."""
    surface = load.root if report.surface is None else report.surface
    along = (surface.points_mm - load.through_mm) @ way
    low, high = float(along.min()) - _TAIL_MM, float(along.max()) + _HEAD_MM
    return load.through_mm + low * way, load.through_mm + high * way


def _inset_tooth(report: CentreReport) -> tuple[SurfaceItem, ...]:
    """The whole tooth a little inside itself, so that the coloured root covers it and the crown joins it."""
    surface = report.surface
    if surface is None:
        return ()
    normals = np.stack(
        [np.bincount(surface.faces.ravel(), np.repeat(surface.area_vectors_mm2[:, k], 3),
                     minlength=len(surface.points_mm)) for k in range(3)], axis=-1,
    )  # fmt: skip
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), np.finfo(float).tiny)
    return (SurfaceItem(name=f"tooth {report.tooth.fdi}", group=TOOTH, role="molar",
                        points_mm=surface.points_mm - _INSET_MM * normals, faces=surface.faces),)  # fmt: skip


def _tooth(report: CentreReport) -> tuple[SurfaceItem, ...]:
    if report.surface is None:
        return ()
    return (
        SurfaceItem(name=f"tooth {report.tooth.fdi}", group=TOOTH, role="molar", opacity=_TOOTH_OPACITY,
                    points_mm=report.surface.points_mm, faces=report.surface.faces),
    )  # fmt: skip


def _landmarks(report: CentreReport) -> tuple[list[LineItem], list[LabelItem]]:
    """The cervical line and the crest's rim with their names, each named at its place farthest to the buccal side."""
    lines, labels = [], []
    buccal = tooth_directions(report).buccal
    if report.anatomy is not None:
        curve = _closed(report.anatomy.cervical_line_mm)
        lines.append(
            LineItem(name="cervical line", group=TOOTH, role="cervical_line", points_mm=_lifted(curve))
        )
        at = curve[np.argmax(curve @ buccal)]
        labels.append(
            LabelItem(name="cervical line", group=TOOTH, role="cervical_line", text="cervical line", at_mm=at)
        )
    if report.root is not None:
        rim = _closed(_rim(report.root))
        text = f"alveolar crest ({report.crest_below_cej_mm:.2g} mm below)"
        lines.append(LineItem(name="crest", group=TOOTH, role="crest", points_mm=_lifted(rim)))
        at = rim[np.argmin(np.abs(rim @ buccal - np.median(rim @ buccal)))]
        labels.append(LabelItem(name="crest", group=TOOTH, role="crest", text=text, at_mm=at))
    return lines, labels


def _rim(root: Surface) -> Array:
    """The longest free edge (k, 3) of the supported root, in order."""
    loops = [root.points_mm[loop] for loop in boundary_loops(root)]
    return max(loops, key=lambda p: float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum()))


def _closed(points: Array) -> Array:
    return np.concatenate([points, points[:1]])


def _lifted(curve: Array) -> Array:
    """The closed curve a little outward, so that the surface it runs on does not hide it."""
    middle = curve[:-1].mean(axis=0)
    return np.asarray(middle + 1.012 * (curve - middle))


def _estimate(report: CentreReport, name: str) -> PointItem:
    role = METHOD_ROLES.get(name, "estimate")
    result = report.methods[name]
    text = method_name(name) + (" (fallback)" if result.estimate.fallback else "")
    return PointItem(
        name=text,
        group=ESTIMATES,
        role=role,
        glyph=look(role).glyph,
        size_mm=_GLYPH_MM,
        at_mm=result.point_mm,
    )


def _region(confidence: Confidence) -> SurfaceItem:
    points, faces = region_shape(confidence)
    return SurfaceItem(name="region of the centre, 95 %", group=REGION, role="region", opacity=0.38,
                       points_mm=points, faces=faces)  # fmt: skip


def region_shape(confidence: Confidence) -> tuple[Array, IntArray]:
    """The 95 % ellipsoid as points (n, 3) and faces (m, 3); a flat one is drawn 0.02 mm thick."""
    region = confidence.uncertainty.region
    height = np.sin(np.linspace(-0.5 * np.pi, 0.5 * np.pi, _STATIONS))
    spine = np.stack([0.0 * height, 0.0 * height, height], axis=-1)
    ball, faces = tube_shape(spine, radius_mm=np.sqrt(1.0 - height**2), around=2 * _STATIONS)
    half = np.maximum(region.half_axes_mm, _LEAST_HALF_MM)
    points = region.mean_mm + (ball * half) @ region.axes
    if np.linalg.det(region.axes) < 0.0:
        faces = faces[:, ::-1]
    return points, faces


def _region_label(report: CentreReport) -> list[LabelItem]:
    if report.confidence is None:
        return []
    region = report.confidence.uncertainty.region
    size = " × ".join(f"{2.0 * h:.1f}" for h in region.half_axes_mm)
    text = f"95 % region, {size} mm"
    return [LabelItem(name="region", group=REGION, role="region", text=text, at_mm=region.mean_mm)]


def _axes(report: CentreReport) -> tuple[list[LineItem], list[LabelItem]]:
    axes = axes_of_tooth(report)
    if axes is None:
        return [], []
    found = {"distal": axes.distal, "buccal": axes.buccal, "vertical": axes.vertical}
    lines = [_axis_line(name, axis) for name, axis in found.items()]
    labels = [
        LabelItem(name=line.name, group=AXES, role="resistance_axis", text=line.name, at_mm=line.points_mm[1])
        for line in lines
    ]
    return lines, labels


def _axis_line(name: str, axis: AxisOfResistance) -> LineItem:
    reach = _AXIS_HALF_MM * axis.direction
    return LineItem(name=f"axis of resistance, {name} force", group=AXES, role="resistance_axis",
                    points_mm=np.array([axis.point_mm - reach, axis.point_mm + reach]))  # fmt: skip


def _caption(report: CentreReport) -> str:
    axes = axes_of_tooth(report)
    words = [report.step, f"crest {report.crest_below_cej_mm:.2g} mm below the cervical line"]
    if axes is not None:
        words.append(f"the axes of resistance miss their nearest point by up to {axes.miss_mm:.2f} mm")
    text = "; ".join(words)
    return text[0].upper() + text[1:] + "."
