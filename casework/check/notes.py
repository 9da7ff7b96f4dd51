"""What a check says beside its numbers: whether to bend at all, and slips to look for first."""

from __future__ import annotations

from collections.abc import Mapping

from casework.check.model import Retrued
from casework.check.result import SideCheck, Sight, Verdict
from casework.check.spread import Spread
from mechanics.sides import Side

# When a slip of measuring or a bow badly seated is likelier than a wrong bend: our choice.
_FAR_MM, _FAR_DEG, _FAR_SHARE = 12.0, 12.0, 0.15
_FAR_APART_DEG = 3.0
_MOST_DEG = 25.0


def verdict_of(correction_deg: float | None, band: Spread | None, *, seen: Sight, planned: Sight) -> Verdict:
    """Leave what is smaller than the error of measuring; unsure where nothing at all is still within its 95 %."""
    if _hook_off(seen, planned) > _FAR_MM or (correction_deg is not None and abs(correction_deg) > _MOST_DEG):
        return "measure again"
    if correction_deg is None or band is None:
        return "no bend"
    if abs(correction_deg) <= band.sd:
        return "leave"
    return "unsure" if band.holds_zero else "bend"


def side_notes(
    seen: Sight, planned: Sight, *, by_slope_deg: float | None, correction_deg: float | None
) -> tuple[str, ...]:
    """One sentence for each thing to look at first."""
    found = []
    off = _hook_off(seen, planned)
    if off > _FAR_MM:
        found.append(
            f"The hook stands {off:.0f} mm from where the plan has it: look whether the bow sits in both tubes up to "
            "its stops, and whether this is the bow of this plan, before bending."
        )
    turned = seen.angle_deg - planned.angle_deg
    if abs(turned) > _FAR_DEG:
        found.append(
            f"The strap runs {abs(turned):.0f} degrees {'more upward' if turned > 0 else 'more downward'} than "
            "planned: look where neck pad or head cap sits; moving it may be better than bending."
        )
    share = seen.force_n / planned.force_n - 1.0
    if abs(share) > _FAR_SHARE:
        found.append(
            f"The force is {abs(share):.0%} {'above' if share > 0 else 'below'} the plan's "
            f"{planned.force_n:.2f} N: set the strap first, since the bow sinks with its force."
        )
    if by_slope_deg is not None and correction_deg is not None:
        apart = abs(by_slope_deg - correction_deg)
        if apart > max(_FAR_APART_DEG, 0.4 * abs(correction_deg)):
            found.append(
                f"The two ways to the correction differ by {apart:.1f} degrees (by the plan's slopes "
                f"{by_slope_deg:+.1f}): the bow is far from the plan's; bend half and check again."
            )
    return tuple(found)


def common_notes(model: Retrued | str, sides: Mapping[Side, SideCheck]) -> tuple[str, ...]:
    """Notes of the bow as a whole."""
    found = []
    if isinstance(model, str):
        found.append(f"The bow as measured could not be solved ({model.rstrip('.')}): measure again.")
    elif model.left_mm > 0.5:
        found.append(
            f"No bend and length of the arms brings the hooks nearer than {model.left_mm:.1f} mm to where they were "
            "measured: the bow may sit askew in the tubes; measure again."
        )
    if len(sides) == 1:
        found.append(
            "One side was measured; the other is taken as planned. Both share one bow: measure both."
        )
    return tuple(found)


def _hook_off(seen: Sight, planned: Sight) -> float:
    up, back = seen.hook_up_mm - planned.hook_up_mm, seen.hook_back_mm - planned.hook_back_mm
    return float((up**2 + back**2) ** 0.5)
