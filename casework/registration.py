"""Scans that come each in a frame of its own, laid into the frame of the case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from casework.case_file import CaseModel, RegisterModel
from mesh_tools.errors import BadValueError, BowtrueError
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.surface import Surface

if TYPE_CHECKING:
    from mesh_tools.registration.landmark_fit import LandmarkFit
    from mesh_tools.registration.register import Registration


class CaseRegistrationError(BadValueError):
    """A scan of the case could not be laid into its frame; the text names the scan's key."""


@dataclass(frozen=True, eq=False)
class Laid:
    """A surface in the case's frame, the motion that brought it there, and a line that tells how well it lies."""

    surface: Surface
    motion: RigidMotion
    told: str


def laid_scans(case: CaseModel, surfaces: Mapping[str, Surface]) -> dict[str, Laid]:
    """Every scan of ``surfaces`` with a ``register`` table, laid; those it lies on go first.

    Raises CaseRegistrationError naming the scan for a missing or circular ``to``, and for whatever the registration
    refuses.
    """
    wanted = {
        name: table
        for name in surfaces
        if (table := getattr(case.scans, name).register_on) is not None and not _is_bone(name)
    }
    done: dict[str, Laid] = {}
    for name in _in_order(wanted, surfaces):
        known = {**surfaces, **{k: laid.surface for k, laid in done.items()}}
        try:
            done[name] = laid_scan(known[name], wanted[name], known)
        except BowtrueError as err:
            raise CaseRegistrationError(f"scans.{name}.register: {err}") from err
    return done


def _is_bone(name: str) -> bool:
    """A bone comes from its tooth's scan and goes with it; a table of its own is refused."""
    if name.endswith("_bone"):
        raise CaseRegistrationError(
            f"scans.{name}.register: a bone lies in its tooth's frame and goes with it; register the molar."
        )
    return False


def laid_scan(surface: Surface, table: RegisterModel, known: Mapping[str, Surface]) -> Laid:
    """``surface`` laid as ``table`` says on the scans of ``known``, which are in the case's frame."""
    from mesh_tools.registration.landmark_fit import landmark_fit  # slow to import
    from mesh_tools.registration.register import register

    pairs = None
    if table.moving_mm:
        pairs = landmark_fit(table.moving_mm, table.fixed_mm, limit_mm=table.landmark_limit_mm)
    if not table.targets:
        assert pairs is not None
        return Laid(pairs.motion.moved(surface), pairs.motion, _told_pairs(pairs) + ", by landmarks alone")
    fixed = joined([known[name] for name in table.targets])
    start = RigidMotion.still() if pairs is None else None
    found = register(surface, fixed, start=start, landmarks=pairs, same_mm=table.same_mm)
    return Laid(
        found.motion.moved(surface), found.motion, f"laid on {' and '.join(table.targets)} {told(found)}"
    )


def joined(surfaces: list[Surface]) -> Surface:
    """One surface of several."""
    offsets = np.cumsum([0, *(len(s.points_mm) for s in surfaces[:-1])])
    return Surface(
        np.concatenate([s.points_mm for s in surfaces]),
        np.concatenate([s.faces + k for s, k in zip(surfaces, offsets, strict=True)]),
    )


def told(found: Registration) -> str:
    """How a surface was laid and what is left, in one line."""
    start = {"as given": "from where it lay", "everywhere": "from every start"}.get(found.start, "")
    if found.landmark_fit is not None:
        start = f"by {len(found.landmark_fit.residuals_mm)} landmark pairs (rms {found.landmark_fit.rms_mm:.2f} mm)"
    seen = found.agreement
    settled = "" if found.converged else " (it had not quite settled)"
    return (
        f"{start} and by shape: rms {seen.rms_mm:.2f} mm, 95 % within {seen.percentile_mm(95.0):.2f} mm, "
        f"{seen.overlap_share:.0%} of the smaller scan overlaps, {seen.agreement:.0%} of the places compared agree "
        f"within {found.tolerance.same_mm:g} mm; turned {found.motion.angle_deg:.1f} degrees{settled}"
    )


def _told_pairs(pairs: LandmarkFit) -> str:
    return (
        f"laid by {len(pairs.residuals_mm)} landmark pairs, rms {pairs.rms_mm:.2f} mm, worst "
        f"{pairs.residuals_mm.max():.2f} mm, turned {pairs.motion.angle_deg:.1f} degrees"
    )


def _in_order(wanted: Mapping[str, RegisterModel], surfaces: Mapping[str, Surface]) -> list[str]:
    """Names of ``wanted`` so that each comes after those it lies on."""
    order: list[str] = []
    left = dict(wanted)
    for name, table in wanted.items():
        for to in table.targets:
            if to not in surfaces or to == name:
                others = ", ".join(k for k in surfaces if k != name) or "none"
                raise CaseRegistrationError(
                    f"scans.{name}.register.to: must name another scan of the case ({others}); got {to!r}."
                )
    while left:
        ready = [name for name, table in left.items() if not set(table.targets) & set(left)]
        if not ready:
            raise CaseRegistrationError(
                f"scans.{next(iter(left))}.register.to: the scans {', '.join(left)} lie on one another in a circle; "
                "leave one of them without a register table: it sets the case's frame."
            )
        order += ready
        for name in ready:
            del left[name]
    return order
