"""The plan in a few lines of text: what the command prints."""

from __future__ import annotations

from casework.case_file import N_PER_GF
from casework.cautions import SHORT_CAUTION
from casework.module_words import module_lines
from casework.plan import Plan, SidePlan
from mechanics.sides import SIDES


def plan_text(plan: Plan) -> str:
    """A short summary: the bend of each side first."""
    lines = [f"Case {plan.case_id}: {plan.pull_kind.replace('_', ' ')}, {plan.bow_model} bow"]
    for side in SIDES:
        lines += _side_lines(plan.sides[side], bendable=plan.bendable)
    lines += [f"        {text}" for text in dict.fromkeys(a for s in SIDES for a in plan.sides[s].advice)]
    lines += _widened(plan) if plan.bendable else []
    lines += [f"  ! {text}" for text in plan.refusals]
    lines += [] if plan.module is None else module_lines(plan.module)
    lines += [f"  ! {text}" for text in plan.warnings]
    return "\n".join([*lines, SHORT_CAUTION])


def _widened(plan: Plan) -> list[str]:
    """How far the arms are carried sideways before any bend; nothing for arms that stay as they were fitted."""
    out = {s: f"{abs(w):.1f} mm" for s in SIDES if abs(w := plan.sides[s].widened_mm) >= 0.05}
    if not out:
        return []
    ways = {s: "widened" if plan.sides[s].widened_mm > 0.0 else "narrowed" for s in out}
    if len(out) == 2 and len(set(out.values())) == len(set(ways.values())) == 1:
        told = f"{ways['right']} {out['right']} each"
    else:
        told = ", ".join(f"{ways[s]} {out[s]} ({s})" for s in out)
    return [f"  arms {told} so that they keep clear as worn"]


def _side_lines(side: SidePlan, *, bendable: bool) -> list[str]:
    way = "up" if side.bend_deg >= 0.0 else "down"
    refused = (
        "reached, but do not bend from this plan"
        if side.solved
        else "NOT REACHED, do not bend from this plan (search stopped at its limit)"
    )
    place = f"{abs(side.bend_deg):.1f} deg at {side.bend_place_mm:.0f} mm from the middle of the joint"
    head = f"  {side.side:5s} {side.tooth}: "
    order = f"{head}bend the outer arm {way} {place}" if bendable else head + refused
    force_gf = side.strap_force_n / N_PER_GF
    return [
        order,
        f"        line of force {_where(side.offset_before_mm)} the target before, {_where(side.offset_after_mm)} "
        f"after; strap {side.strap_force_n:.2f} N ({force_gf:.0f} gf)",
        f"        on the molar: distal {side.distal_n:.2f} N, {_vertical(side.vertical_n)}, "
        f"{_lateral(side.lateral_n)}; hook moves {side.hook_travel_mm:.1f} mm under load",
        *(_made(side) if bendable else []),
    ]


def _where(offset_mm: float) -> str:
    if abs(offset_mm) < 0.05:
        return "through"
    return f"{abs(offset_mm):.1f} mm {'apical of' if offset_mm > 0 else 'occlusal of'}"


def _vertical(newtons: float) -> str:
    return f"{'intrusive' if newtons > 0 else 'extrusive'} {abs(newtons):.2f} N"


def _lateral(newtons: float) -> str:
    if abs(newtons) < 0.005:
        return "no lateral force"
    return f"{'buccal' if newtons > 0 else 'palatal'} {abs(newtons):.2f} N"


def _made(side: SidePlan) -> list[str]:
    lines = [
        f"        at the bench: to {abs(side.bench.plier_deg):.1f} deg under the plier, springs back to the bend"
    ]
    if side.bands is not None:
        b = side.bands
        lines.append(
            f"        95 % of the sampled inputs: bend {b.bend_low_deg:+.1f} to {b.bend_high_deg:+.1f} deg, moment "
            f"left {b.moment_low_n_mm:+.1f} to {b.moment_high_n_mm:+.1f} N mm"
        )
    if side.movement is not None:
        lines.append(f"        predicted in side view: {side.movement.words}")
    return lines
