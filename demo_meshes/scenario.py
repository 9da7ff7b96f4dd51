"""The invented patient: meshes, landmarks and case file in one LPS frame, mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_meshes.arch import TUBE_BORE_MM, arch_field, arch_mesh, decimated, largest_piece, tube_on
from demo_meshes.face import BOX, NECK_FOOT, NECK_TOP, STOMION_Z_MM, head_field
from demo_meshes.frame import dentition_to_lps
from demo_meshes.implicit import Field, meshed, outermost
from demo_meshes.molar import MolarShape, MolarTruth, molar
from demo_meshes.teeth import Dentition, PlacedTooth
from mesh_tools.arrays import Array, IntArray

STRAP_ANGLE_DEG = -25.0
"""Neck strap against the occlusal plane: 25 degrees below, Korean J Orthod 1987;17:185-197."""
HOOK_MM = (57.0, 40.0, 8.0)
"""About where the unbent outer bow's hook stands on the left, LPS; used only to place the strap landmarks."""


def placed_molar(tooth: PlacedTooth, *, step_mm: float = 0.34) -> tuple[Array, IntArray, MolarTruth]:
    """Points, outward faces and truth of a first molar where it stands in the arch, LPS mm."""
    assert isinstance(tooth.shape, MolarShape)
    points, faces, truth = molar(tooth.shape, step_mm=step_mm)
    turn = dentition_to_lps() @ tooth.placement.rotation
    shift = dentition_to_lps() @ tooth.placement.shift_mm
    if np.linalg.det(turn) < 0:
        faces = np.ascontiguousarray(faces[:, ::-1])
    return points @ turn.T + shift, faces, truth.moved(turn, shift)


def placed_arch(dentition: Dentition, *, step_mm: float = 0.42) -> tuple[Array, IntArray]:
    """The open arch in LPS mm."""
    points, faces = arch_mesh(dentition, step_mm=step_mm)
    return points @ dentition_to_lps().T, faces


def head_mesh(*, step_mm: float = 1.6, faces_wanted: int = 12000) -> tuple[Array, IntArray]:
    """The capped head and neck in LPS mm."""
    points, faces = meshed(head_field(), low=BOX[0], high=BOX[1], step_mm=step_mm, rounds=3)
    return decimated(*largest_piece(points, faces), faces_wanted=faces_wanted)


@dataclass(frozen=True, eq=False)
class Landmarks:
    """Every landmark of the case by its key, LPS mm; ``occlusal_plane_mm`` is (4, 3), the others (3,)."""

    points: dict[str, Array]
    occlusal_plane_mm: Array
    face_points: dict[str, Array]
    """Further points of the skin, for registration: nose tip, nasion, chin, tragion of both sides."""


def landmarks(dentition: Dentition, truths: dict[int, MolarTruth]) -> Landmarks:
    """Landmarks of the case, taken from the fields themselves."""
    turn = dentition_to_lps()
    points: dict[str, Array] = {}
    for side, fdi in (("right", 16), ("left", 26)):
        tube = tube_on(dentition.tooth(fdi))
        points[f"tube_{side}_mesial_mm"] = turn @ tube.mesial_mm
        points[f"tube_{side}_distal_mm"] = turn @ tube.distal_mm
    points["incisor_contact_mm"] = turn @ _incisor_contact(dentition)
    skin = head_field()
    for side, sign in (("right", -1.0), ("left", 1.0)):
        points[f"mouth_corner_{side}_mm"] = _skin_from(
            skin, (sign * 20.3, 15.0, STOMION_Z_MM - 0.6), (0.0, -1.0, 0.0)
        )
    edges = [_edge(dentition.tooth(fdi)) for fdi in (11, 21)]
    plane = np.array([truths[16].cusp_tips_mm[0], truths[26].cusp_tips_mm[0], *(turn @ e for e in edges)])
    for side, sign in (("right", -1.0), ("left", 1.0)):
        points[f"strap_{side}_mm"] = _strap_point(skin, sign, _plane_normal(plane))
    return Landmarks(points, plane, _face_points(skin))


def _incisor_contact(dentition: Dentition) -> Array:
    start = np.array([[0.0, 3.0, 4.5]])
    field = arch_field(dentition)
    offsets = np.linspace(-4.0, 4.0, 17)
    starts = start + np.column_stack([offsets, 0 * offsets, 0 * offsets])
    hits = outermost(field, starts, np.tile([0.0, -1.0, 0.0], (len(starts), 1)), reach_mm=14.0)
    return np.array([0.0, hits[:, 1].min(), 4.5])


def _edge(tooth: PlacedTooth) -> Array:
    return np.asarray(tooth.placement.to_world(np.array([[1.3, 0.0, -tooth.height_mm]]))[0])


def _plane_normal(points: Array) -> Array:
    normal = np.linalg.svd(points - points.mean(axis=0))[2][2]
    return np.asarray(normal * np.sign(normal[2]))


def _skin_from(skin: Field, start: tuple[float, float, float], way: tuple[float, float, float]) -> Array:
    return np.asarray(outermost(skin, np.array([start]), np.array([way]), reach_mm=120.0)[0])


def _strap_point(skin: Field, sign: float, normal: Array) -> Array:
    """Where a line from the hook, 25 degrees below the occlusal plane, first grazes the neck in plan view."""
    hook = np.array(HOOK_MM) * [sign, 1.0, 1.0]
    across = np.cross([0.0, 1.0, 0.0], normal)
    back = np.cross(normal, across)
    back, level = back / np.linalg.norm(back), hook[2] - 25.0
    angle = np.radians(np.arange(-40.0, 60.0, 0.5))
    ways = np.column_stack([sign * np.cos(angle), np.sin(angle), 0 * angle])
    point = hook
    for _ in range(6):
        t = (level - NECK_TOP[2]) / (NECK_FOOT[2] - NECK_TOP[2])
        centre = NECK_TOP + t * (NECK_FOOT - NECK_TOP)
        ring = outermost(skin, np.tile([*centre[:2], level], (len(ways), 1)), ways, reach_mm=80.0)
        away = ring - hook
        point = ring[np.argmax(sign * away[:, 0] / np.maximum(away[:, 1], 1.0))]
        run = float((point - hook) @ back)
        rise = np.tan(np.radians(STRAP_ANGLE_DEG)) * run
        target = hook + back * run + normal * rise
        level = float(target[2])
    return np.asarray(point)


def _face_points(skin: Field) -> dict[str, Array]:
    ahead = {"nose_tip_mm": 29.0, "nasion_mm": 62.0, "chin_mm": -22.0}
    found = {k: _skin_from(skin, (0.0, 30.0, z), (0.0, -1.0, 0.0)) for k, z in ahead.items()}
    for side, sign in (("right", -1.0), ("left", 1.0)):
        found[f"tragion_{side}_mm"] = _skin_from(skin, (0.0, 78.0, 36.0), (sign, 0.0, 0.0))
    return found


def case_text(marks: Landmarks) -> str:
    """The case file's text."""
    lines = [f"{k} = {_point(v)}" for k, v in marks.points.items()]
    plane = ", ".join(_point(p) for p in marks.occlusal_plane_mm)
    return _CASE.format(landmarks="\n".join(lines), plane=plane, bore=TUBE_BORE_MM)


def _point(p: Array) -> str:
    return "[" + ", ".join(f"{v:.3f}" for v in p) + "]"


_CASE = """\
# An invented child of ten and a half with a cervical face-bow: no real patient. Made by python -m demo_meshes.generate.
# Landmarks are LPS mm: +x the patient's left, +y back, +z up; the scans' own axes are named beside each file.
schema = 1
case_id = "demo-heron"
age_years = 10.5

[scans.right_molar]
file = "molar_16.stl"
tooth = 16
axes = "RAS"
unit = "mm"

[scans.left_molar]
file = "molar_26.stl"
tooth = 26
axes = "LPS"
unit = "mm"

[scans.arch]
file = "arch.stl"
axes = "LSA"
unit = "mm"

[scans.face]
file = "face.stl"
axes = "LSA"
unit = "mm"

[landmarks]
{landmarks}
occlusal_plane_mm = [{plane}]

[bow]
inner_diameter_mm = 1.143
outer_diameter_mm = 1.829
arm_length_mm = 105.0
anterior_clearance_mm = 4.0
joint_length_mm = 20.0
tube_bore_mm = {bore}
e_gpa = 160.0

[pull]
kind = "cervical"

[pull.right]
force_n = 4.0

[pull.left]
force_n = 4.0

[choices]
target = "elastic_foundation"
crest_below_cej_mm = 0.75
"""
