"""What to look at next: what the last visit shows against the plan and the visits before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from casework.case_file import N_PER_GF
from casework.visits.progress import last_prescribed, months_between
from casework.visits.rates import TOLD_AND_RECORDED
from casework.visits.record import Visit
from mechanics.sides import SIDES, Side

# When something is worth a look: our choices, save where a source stands in the text.
_FORCE_SHARE = 0.85
_DRIFT_MM = 2.0
_LAG_MM, _LAG_MONTHS = 1.0, 2.5
_STILL_MM, _STILL_MONTHS = 0.5, 4.0
_WORN_SHARE = 0.9
_LONG_DAYS = 56


@dataclass(frozen=True)
class Meant:
    """What the case means for each side: force in N and where the line should pass its target, mm."""

    force_n: Mapping[Side, float]
    offset_mm: Mapping[Side, float]


def look_next(visits: Sequence[Visit], meant: Meant) -> tuple[str, ...]:
    """One sentence a finding, the safety of the patient first; empty without a visit."""
    if not visits:
        return ()
    return (
        *_safety(visits[-1]),
        *_wear(visits),
        *_force(visits, meant),
        *_line(visits, meant),
        *_sides(visits),
        *_still(visits),
        *_interval(visits),
    )


def _safety(last: Visit) -> Iterator[str]:
    for checked, what in (
        (last.release_checked, "the self-releasing strap module"),
        (last.retention_checked, "what keeps the bow in the tubes"),
    ):
        if checked is False:
            yield (
                f"SAFETY: {what} was not in order or not checked on {last.day}: the bow must not be worn until it is."
            )
        elif checked is None:
            yield f"SAFETY: nothing was recorded of {what} on {last.day}: check it at every visit and record it."


def _wear(visits: Sequence[Visit]) -> Iterator[str]:
    last, prescribed = visits[-1], last_prescribed(visits)
    if last.recorded_hours is not None:
        days = "" if last.recorded_days is None else f" over {last.recorded_days} days"
        if prescribed is not None and last.recorded_hours < _WORN_SHARE * prescribed:
            yield (
                f"Worn {last.recorded_hours:.1f} h a day by the record{days}, prescribed {prescribed:g}: talk about "
                "wear before force or bend is changed."
            )
        if last.told_hours is not None and last.told_hours > last.recorded_hours + 1.0:
            yield f"Told {last.told_hours:g} h, recorded {last.recorded_hours:.1f} h. {TOLD_AND_RECORDED}"
    elif last.told_hours is not None:
        if prescribed is not None and last.told_hours < prescribed:
            yield f"Told {last.told_hours:g} h a day, prescribed {prescribed:g}; less was probably worn."
        yield f"Wear is told only. {TOLD_AND_RECORDED}"
    else:
        yield "Nothing was recorded of the hours worn."


def _force(visits: Sequence[Visit], meant: Meant) -> Iterator[str]:
    for side in SIDES:
        now, planned = visits[-1].side(side).force_n, meant.force_n[side]
        if now is None:
            continue
        before = _last(visits[:-1], side, "force_n")
        if now < _FORCE_SHARE * planned:
            yield (
                f"{side}: force {now:.2f} N ({now / N_PER_GF:.0f} gf) has fallen below the plan's {planned:.2f} N: "
                "look at the strap and its module; never have the patient tighten the strap to catch up."
            )
        elif now > planned / _FORCE_SHARE:
            yield f"{side}: force {now:.2f} N is above the plan's {planned:.2f} N: the bow sinks more; set it back."
        elif before is not None and now < _FORCE_SHARE * before[1]:
            yield f"{side}: force fell from {before[1]:.2f} to {now:.2f} N since {before[0].day}: look at the strap."


def _line(visits: Sequence[Visit], meant: Meant) -> Iterator[str]:
    for side in SIDES:
        now = visits[-1].side(side).offset_mm
        if now is None:
            continue
        off = now - meant.offset_mm[side]
        before = _last(visits[:-1], side, "offset_mm")
        if abs(off) > _DRIFT_MM:
            yield (
                f"{side}: the line of force runs {abs(off):.1f} mm {'apical' if off > 0 else 'occlusal'} of where it "
                f"is meant ({'roots' if off > 0 else 'crown'} back first): run bowtrue check and correct the bend."
            )
        elif before is not None and abs(now - before[1]) > _DRIFT_MM:
            yield (
                f"{side}: the line moved {now - before[1]:+.1f} mm since {before[0].day}: was the bow bent, or does it "
                "sit otherwise?"
            )


def _sides(visits: Sequence[Visit]) -> Iterator[str]:
    both = [v for v in visits if None not in (v.right.relation_mm, v.left.relation_mm)]
    if len(both) < 2 or months_between(both[0], both[-1]) < _LAG_MONTHS:
        return
    gained = {s: _gain(both[0], both[-1], s) for s in SIDES}
    apart = gained["right"] - gained["left"]
    if abs(apart) >= _LAG_MM:
        behind = "left" if apart > 0.0 else "right"
        yield (
            f"The {behind} side lags: corrected {gained['right']:+.1f} mm on the right and {gained['left']:+.1f} on "
            "the left. Look at the force of each side, the fit of each tube and on which side the patient sleeps."
        )


def _still(visits: Sequence[Visit]) -> Iterator[str]:
    last = visits[-1]
    for side in SIDES:
        seen = [v for v in visits if v.side(side).relation_mm is not None]
        long_ago = [v for v in seen if months_between(v, last) >= _STILL_MONTHS]
        if not long_ago or last.side(side).relation_mm is None or (last.side(side).relation_mm or 0.0) <= 0.0:
            continue
        gain = _gain(long_ago[-1], last, side)
        if gain < _STILL_MM:
            yield (
                f"{side}: {gain:+.1f} mm in the {months_between(long_ago[-1], last):.0f} months since "
                f"{long_ago[-1].day}: look at wear first, then at force and line."
            )


def _interval(visits: Sequence[Visit]) -> Iterator[str]:
    if len(visits) > 1 and (visits[-1].day - visits[-2].day).days > _LONG_DAYS:
        yield (
            f"{(visits[-1].day - visits[-2].day).days} days since the visit before; a check every month finds a wrong "
            "bend while its effect is small (common practice, no source)."
        )


def _gain(one: Visit, other: Visit, side: Side) -> float:
    return (one.side(side).relation_mm or 0.0) - (other.side(side).relation_mm or 0.0)


def _last(visits: Sequence[Visit], side: Side, name: str) -> tuple[Visit, float] | None:
    for visit in reversed(visits):
        value = getattr(visit.side(side), name)
        if value is not None:
            return visit, float(value)
    return None
