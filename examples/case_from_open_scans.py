"""Makes a complete case of three open scans of three different people: arch, head and one upper first molar.

    python examples/case_from_open_scans.py ARCH HEAD MOLAR --out FOLDER
    bowtrue plan FOLDER/case.toml --out PLAN

ARCH is a cast or scan of an upper arch, HEAD a head with its neck, MOLAR a whole upper first molar of the left side
(26); its mirror image serves on the right. Each file's axes and unit are options. FOLDER receives the scans and
``case.toml``.

The arch, levelled by its occlusal plane and turned by its midline, sets the frame of the case, with the incisor contact
at the origin; so its file may lie in any frame. What geometry can tell is found (``casework.finding``): occlusal plane,
incisor contact, molar crowns, tubes and mouth corners. What it cannot tell stands below as a number with its source.
The molar belongs to somebody else, so no surface of it fits the arch: its four cusps alone lay it on the crowns. The
same goes for the head. THE RESULT SHOWS THE WAY FROM FILES TO A BEND. IT IS NO PLAN FOR ANYBODY: a patient's own scans
go through the same tables.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w

from casework.finding import proposals_for
from casework.scans import ScanKind, scan_from_file
from casework.writing import filled_folder
from mesh_tools.anatomy.tooth import tooth_anatomy
from mesh_tools.arrays import Array, unit
from mesh_tools.errors import BadValueError, BowtrueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.finding.arch import arch_found, proposals_of
from mesh_tools.finding.record import Proposal
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.surface import Surface
from mesh_tools.write import write_ply

# The occlusal plane falls forward of the Frankfurt horizontal by 9.3 degrees, range 1.5 to 14: Downs WB 1948 Am J
# Orthod 34:812-840 (from memory). The head is taken to stand with the Frankfurt horizontal level.
OCCLUSAL_CANT_DEG = 9.3
# With the lips at rest about 2.5 mm of the incisors show (common practice, no source): the corners lie so far above
# the edges.
CORNERS_ABOVE_EDGES_MM = 2.5
CORNERS_AHEAD_MM = 2.0  # of the labial face of the incisors: our choice
MOLAR_LIMIT_MM = 6.0  # largest residual of a cusp: another person's tooth, so its size differs
FORCE_N = 4.0
_QUARTERS = {"mesiobuccal": (1, 1), "distobuccal": (-1, 1), "mesiopalatal": (1, -1), "distopalatal": (-1, -1)}
_TUBES = tuple(f"tube_{side}_{end}_mm" for side in ("right", "left") for end in ("mesial", "distal"))


@dataclass(frozen=True, eq=False)
class Source:
    """One file: where it is, its axes and unit."""

    path: Path
    axes: str
    unit: str | None

    def surface(self, kind: ScanKind) -> Surface:
        """The surface in LPS mm, repaired."""
        tooth = ToothNumber(26) if kind == "tooth" else None
        return scan_from_file(kind, self.path, kind=kind, axes=self.axes, unit=self.unit, tooth=tooth).surface

    def table(self, name: str) -> dict[str, Any]:
        """The scan's table of the case file."""
        unit_key = {} if self.unit is None else {"unit": self.unit}
        return {"file": name, "axes": self.axes, **unit_key}


@dataclass(frozen=True, eq=False)
class ArchMarks:
    """What the arch shows, in its own frame. ``cusps``: per side (4, 3). ``axes`` (3, 3): rows left, back and up,
    square to the occlusal plane and the midline."""

    proposals: Mapping[str, Proposal]
    cusps: Mapping[str, Array]
    axes: Array

    def levelled(self, points_mm: Array) -> Array:
        """Points (n, 3) of the arch's own frame in the frame of the case."""
        return np.asarray((points_mm - self.proposals["incisor_contact_mm"].point_mm) @ self.axes.T)


def arch_marks(surface: Surface) -> ArchMarks:
    """What is found on the arch ``surface``, LPS mm. Raises BadValueError when a first molar is not seen."""
    found = arch_found(surface)
    if len(found.molars) < 2:
        raise BadValueError("the arch does not show both first molars; give a scan that reaches behind them.")
    cusps = {}
    for side, molar in found.molars.items():
        crown = surface.points_mm[np.unique(surface.faces[molar.patch.faces])]
        cusps[side] = quarter_tips(crown, np.stack([molar.mesial, molar.buccal, molar.apical]))
    by_name = {p.name: p for p in proposals_of(found)}
    across = found.molars["left"].centre_mm - found.molars["right"].centre_mm
    normal, apical = by_name["occlusal_plane_mm"].normal, found.molars["right"].apical
    assert normal is not None
    up = unit(normal * np.sign(normal @ apical))
    side_normal = by_name["midline"].normal
    assert side_normal is not None
    left = side_normal * np.sign(side_normal @ across)
    left = unit(left - (left @ up) * up)
    return ArchMarks(by_name, cusps, np.stack([left, np.cross(up, left), up]))


def quarter_tips(crown: Array, axes: Array) -> Array:
    """The most occlusal point (4, 3) in each quarter of ``crown`` (n, 3); ``axes``: rows mesial, buccal, apical."""
    along = crown @ axes.T
    middle = 0.5 * (along.min(axis=0) + along.max(axis=0))
    tips = []
    for mesial, buccal in _QUARTERS.values():
        quarter = (mesial * (along[:, 0] - middle[0]) > 0.5) & (buccal * (along[:, 1] - middle[1]) > 0.5)
        tips.append(crown[quarter][int(along[quarter, 2].argmin())])
    return np.array(tips)


def molar_tips(tooth: Surface) -> Array:
    """The four cusps (4, 3) of the whole molar 26, in its own frame."""
    anatomy = tooth_anatomy(tooth, ToothNumber(26))
    crown = tooth.points_mm[anatomy.below_line_mm(tooth.points_mm) < 0.0]
    return quarter_tips(crown, np.stack([anatomy.mesial_axis, anatomy.buccal_axis, anatomy.long_axis]))


def head_pairs(head: Mapping[str, Proposal], arch: ArchMarks) -> dict[str, Any]:
    """Pairs that put the head where the numbers above say, into the case's frame."""
    normal = head["symmetry_plane"].normal
    assert normal is not None
    left = unit(normal * np.sign(normal[0]))
    back = unit(np.cross([0.0, 0.0, 1.0], left))
    cant = np.radians(OCCLUSAL_CANT_DEG)
    up = np.cos(cant) * np.cross(left, back) - np.sin(cant) * back
    own = np.stack([left, np.cross(up, left), up])
    corners = 0.5 * (head["mouth_corner_right_mm"].point_mm + head["mouth_corner_left_mm"].point_mm)
    edge = arch.levelled(arch.proposals["incisor_edge_mm"].points_mm)[0]
    there = np.array([0.0, -CORNERS_AHEAD_MM, edge[2] + CORNERS_ABOVE_EDGES_MM])
    motion = RigidMotion(own, there - own @ corners)
    names = ("mouth_corner_right_mm", "mouth_corner_left_mm", "nose_tip", "chin", "nape")
    points = np.array([head[k].point_mm for k in names])
    return _pairs(points, motion.applied(points))


def arch_pairs(arch: ArchMarks) -> dict[str, Any]:
    """Pairs that put the arch into the case's frame."""
    points = [arch.proposals[k].points_mm for k in ("occlusal_plane_mm", "incisor_contact_mm")]
    own = np.concatenate([*points, *arch.cusps.values()])
    return _pairs(own, arch.levelled(own))


def case_values(arch: ArchMarks, head: Mapping[str, Proposal], tips: Array, scans: dict[str, Any]) -> Any:
    """The case file as plain values; ``tips`` (4, 3) of the molar 26, ``scans`` the tables by name."""
    for side, mirror in (("right", -1.0), ("left", 1.0)):
        pairs = _pairs(tips * [mirror, 1.0, 1.0], arch.levelled(arch.cusps[side]))
        scans[f"{side}_molar"]["register"] = {**pairs, "landmark_limit_mm": MOLAR_LIMIT_MM}
    scans["arch"]["register"] = arch_pairs(arch)
    scans["face"]["register"] = head_pairs(head, arch)
    corners = {k: _told(head[k].point_mm) for k in ("mouth_corner_right_mm", "mouth_corner_left_mm")}
    on_arch = {k: _told(arch.proposals[k].point_mm) for k in (*_TUBES, "incisor_contact_mm")}
    on_arch["occlusal_plane_mm"] = _told(arch.proposals["occlusal_plane_mm"].points_mm)
    return {
        "schema": 1,
        "case_id": "three-open-scans",
        "scans": scans,
        "landmarks_in": {"arch": on_arch, "face": corners},
        "pull": {"kind": "cervical", "strap": "taut", "right": {"force_n": FORCE_N}, "left": {"force_n": FORCE_N}},
    }  # fmt: skip


def write_case(arch: Source, head: Source, molar: Source, out: Path) -> list[str]:
    """Write the case's folder; returns a line for each landmark that was found. Raises BowtrueError in one line."""
    marks = arch_marks(arch.surface("arch"))
    on_head = {p.name: p for p in proposals_for(head.surface("head"), "head")}
    tooth = molar.surface("tooth")
    scans: dict[str, Any] = {
        "arch": arch.table(f"arch{arch.path.suffix}"),
        "face": head.table(f"head{head.path.suffix}"),
    }
    for side, fdi in (("right", 16), ("left", 26)):
        scans[f"{side}_molar"] = {"file": f"molar_{fdi}.ply", "axes": "LPS", "unit": "mm", "tooth": fdi}
    values = case_values(marks, on_head, molar_tips(tooth), scans)
    with filled_folder(out) as folder:
        shutil.copyfile(arch.path, folder / scans["arch"]["file"])
        shutil.copyfile(head.path, folder / scans["face"]["file"])
        write_ply(folder / "molar_26.ply", tooth)
        write_ply(folder / "molar_16.ply", tooth.moved(np.diag([-1.0, 1.0, 1.0])))
        (folder / "case.toml").write_text(_HEAD + tomli_w.dumps(values), "utf-8")
    used = {name: marks.proposals[name] for name in (*_TUBES, "incisor_contact_mm", "occlusal_plane_mm")}
    used |= {name: on_head[name] for name in ("mouth_corner_right_mm", "mouth_corner_left_mm")}
    return [f"{name}: confidence {p.confidence:.2f}, {p.why}" for name, p in used.items()]


_HEAD = """\
# Arch, head and molar of three different people, laid together by landmarks: an exercise, no plan for anybody.
# The molar is another person's, mirrored on the right; its centre of resistance is no measure of this arch's molars.
# Coordinates are LPS mm after each file's axes and unit; the arch, levelled, sets the frame of the case.
"""


def _pairs(moving: Array, fixed: Array) -> dict[str, Any]:
    return {"moving_mm": _told(moving), "fixed_mm": _told(fixed)}


def _told(points: Array) -> Any:
    return np.round(points, 3).tolist()


def main(arguments: list[str] | None = None) -> int:
    """Run from the command line; returns the exit code."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    for name, axes, length in (("arch", "PRS", "m"), ("head", "LSA", None), ("molar", "LSA", None)):
        parser.add_argument(name, type=Path)
        parser.add_argument(f"--{name}-axes", default=axes, metavar="CODE", help=f"default {axes}")
        parser.add_argument(f"--{name}-unit", default=length, help=f"default {length or 'mm, checked'}")
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    args = parser.parse_args(arguments)
    arch, head, molar = (
        Source(getattr(args, n), getattr(args, f"{n}_axes"), getattr(args, f"{n}_unit"))
        for n in ("arch", "head", "molar")
    )
    try:
        lines = write_case(arch, head, molar, args.out)
    except BowtrueError as err:
        sys.stderr.write(f"{err}\n")
        return 2
    lines += ["The molar is another person's, laid by four cusps alone: an exercise, no plan for anybody."]
    lines += [f"bowtrue plan {args.out / 'case.toml'} --out {args.out / 'plan'}"]
    sys.stdout.write("\n".join(lines) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
