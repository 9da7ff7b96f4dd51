"""A reasoned starting point for pull, force and hours: every part with its range and its source.

Not an answer: the clinician decides, on the patient, with the cephalogram and the growth in view. Most correction in a
growing child is restraint of growth, not movement of the molar.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal, get_args

from casework.case_file import PullKind
from casework.cautions import SHORT_CAUTION
from casework.strict import N_PER_GF
from mesh_tools.errors import BadValueError

RootState = Literal["complete", "incomplete", "unknown"]
Vertical = Literal["none", "open", "deep"]
Purpose = Literal["hold", "correct"]

CLASS_II_MM = (0.5, 12.0)
AGE_YEARS = (6.0, 17.0)
_HOLD_BELOW_MM = 2.0  # our choice: less is treated as holding the molars
_GROWTH_ENDS_YEARS = (
    14.0  # our choice, no source: beyond it the suggestion says that growth restraint is doubtful
)
_ROOTS_COMPLETE_YEARS = 10.0

PROG = "statement in Prog Orthod 2016;17, s40510-016-0130-4"
FE_PULLS = "finite elements of a full upper arch, Prog Orthod 2016;17, s40510-016-0130-4"
KIRJAVAINEN = "Kirjavainen M, Kirjavainen T, Haavikko K 1997 AJODO 111:59-66"
FIROUZ = "Firouz M, Zernik J, Nanda R 1992 AJODO 102:197-205"
BRANDAO = "Brandao M et al. 2006 AJODO 129:239-244"
WHEELER = "Wheeler TT et al. 2002 AJODO 121:9-17"
TULLOCH = "Tulloch JFC et al. 1997 AJODO 111:391-400"
ISAACSON = "Isaacson KG, Muir JD, Reed RT 2002, Removable Orthodontic Appliances, p 46"
WHEELERS_ANATOMY = "Ash, Nelson, Wheeler's Dental Anatomy (textbook average)"
PROFFIT = "Proffit, Contemporary Orthodontics (from memory)"
UK_NORM = "teaching norm (from memory)"
TRADE = "common practice, no source"
OURS = "our choice, no source"
REMINDER = (
    "Most correction in a growing child is restraint of growth, not movement of the molar: nothing here promises "
    "distal movement."
)
STARTING_POINT = "A starting point for the clinician, not a prescription: examine the patient and decide."


@dataclass(frozen=True)
class Reason:
    """One reason: what it is about, what it says, where that comes from."""

    about: Literal["pull", "force", "hours", "roots", "age", "outlook"]
    text: str
    source: str


@dataclass(frozen=True)
class Amount:
    """A suggested amount with the range that its sources span."""

    low: float
    suggested: float
    high: float


@dataclass(frozen=True)
class Suggestion:
    """Pull, force per side in gf and hours a day, with reasons; ``start_gf``: the force to begin with."""

    class_ii_mm: float
    age_years: float
    roots: RootState
    vertical: Vertical
    purpose: Purpose
    pull: PullKind
    others: tuple[PullKind, ...]
    force_gf: Amount
    start_gf: float
    hours: Amount
    reasons: tuple[Reason, ...]
    reminders: tuple[str, ...]

    @property
    def force_n(self) -> Amount:
        """Force per side in N."""
        f = self.force_gf
        return Amount(f.low * N_PER_GF, f.suggested * N_PER_GF, f.high * N_PER_GF)

    def as_dict(self) -> dict[str, Any]:
        """The tree of ``bowtrue prescribe --json``."""
        return {**asdict(self), "force_n": asdict(self.force_n)}


def suggested(
    *,
    class_ii_mm: float,
    age_years: float,
    roots: RootState = "unknown",
    vertical: Vertical = "none",
    wanted_pull: PullKind | None = None,
) -> Suggestion:
    """A suggestion for ``class_ii_mm`` of molar class II per side at ``age_years``.

    ``roots``: state of the upper first molars' roots; ``vertical``: "open" for an open bite or a long lower face,
    "deep" for a deep bite or a short one; ``wanted_pull``: the clinician's own, which is kept and commented on. Raises
    BadValueError outside the ranges that the sources cover.
    """
    _check(
        class_ii_mm=class_ii_mm, age_years=age_years, roots=roots, vertical=vertical, wanted_pull=wanted_pull
    )
    purpose: Purpose = "hold" if class_ii_mm < _HOLD_BELOW_MM else "correct"
    pull, others, why_pull = _pull(vertical, wanted_pull)
    force, start, why_force = _force(purpose, roots, age_years)
    hours, why_hours = _hours(purpose, pull)
    return Suggestion(
        class_ii_mm=class_ii_mm,
        age_years=age_years,
        roots=roots,
        vertical=vertical,
        purpose=purpose,
        pull=pull,
        others=others,
        force_gf=force,
        start_gf=start,
        hours=hours,
        reasons=(
            *why_pull,
            *why_force,
            *why_hours,
            *_roots(roots, age_years),
            *_age(age_years),
            *_outlook(class_ii_mm),
        ),
        reminders=(STARTING_POINT, REMINDER, SHORT_CAUTION),
    )


def _check(
    *, class_ii_mm: float, age_years: float, roots: str, vertical: str, wanted_pull: str | None
) -> None:
    for name, value, (low, high), unit in (
        ("class II amount", class_ii_mm, CLASS_II_MM, "mm"),
        ("age", age_years, AGE_YEARS, "years"),
    ):
        if not low <= value <= high:
            raise BadValueError(
                f"{name} must lie between {low:g} and {high:g} {unit}, which the published cases cover; got {value:g}: "
                "no suggestion is made."
            )
    for name, word, words in (
        ("roots", roots, get_args(RootState)),
        ("vertical", vertical, get_args(Vertical)),
        ("pull", wanted_pull, (None, *get_args(PullKind))),
    ):
        if word not in words:
            known = ", ".join(w for w in words if w)
            raise BadValueError(f"{name} must be one of {known}; got {word!r}.")


_PULLS: dict[Vertical, tuple[PullKind, tuple[PullKind, ...]]] = {
    "open": ("high_pull", ("combination",)),
    "deep": ("cervical", ("combination",)),
    "none": ("combination", ("cervical", "high_pull")),
}
_VERTICAL_WORDS: dict[Vertical, str] = {
    "open": "An open bite or long lower face asks for a pull that does not extrude the molar",
    "deep": "A deep bite or short lower face bears the extrusion of a neck strap, or gains by it",
    "none": "Without a vertical concern a line near the occlusal plane makes the least vertical force",
}


def _pull(vertical: Vertical, wanted: PullKind | None) -> tuple[PullKind, tuple[PullKind, ...], list[Reason]]:
    pull, others = _PULLS[vertical]
    why = [
        Reason("pull", f"{_VERTICAL_WORDS[vertical]}: {_words(pull)}.", TRADE),
        Reason(
            "pull",
            "A neck strap extrudes most and moves back most; a head cap intrudes most and gives 19-32 % of the neck "
            "strap's distal movement, both together 37-41 %.",
            FE_PULLS,
        ),
    ]
    if vertical == "open":
        why.append(
            Reason(
                "pull",
                "High pull for 6 months: molar 2.6 (SD 0.6) mm back and 0.54 (SD 0.54) mm intruded.",
                FIROUZ,
            )
        )
    if vertical != "open":
        why.append(
            Reason(
                "pull",
                "The children followed longest wore a neck strap with the outer bow bent up.",
                KIRJAVAINEN,
            )
        )
    if wanted is not None and wanted != pull:
        clash = (vertical == "open" and wanted == "cervical") or (
            vertical == "deep" and wanted == "high_pull"
        )
        text = f"{_words(wanted).capitalize()} is wanted and kept; {_words(pull)} would be suggested."
        if clash:
            text += " It works against the vertical concern: watch the lower face height and the overbite."
        why.insert(0, Reason("pull", text, OURS))
        return wanted, tuple(k for k in (pull, *others) if k != wanted), why
    return pull, others, why


def _force(purpose: Purpose, roots: RootState, age_years: float) -> tuple[Amount, float, list[Reason]]:
    if purpose == "hold":
        force = Amount(200.0, 250.0, 300.0)
        why = [Reason("force", "To hold the molars: 200-300 gf per side.", UK_NORM)]
        return force, 200.0, why
    light = roots == "incomplete" or (roots == "unknown" and age_years < _ROOTS_COMPLETE_YEARS)
    force = Amount(250.0, 350.0 if light else 400.0, 500.0)
    why = [
        Reason(
            "force", "For an effect on jaw and teeth 250-500 gf per side; lighter moves teeth only.", PROG
        ),
        Reason("force", "Class II children wore 500 gf per side.", f"{KIRJAVAINEN}; {FIROUZ}"),
        Reason("force", "350-500 gf per side, begun light and raised.", PROFFIT),
    ]
    if light:
        why.append(Reason("force", "Roots not known to be complete: the lower half of the range.", OURS))
    return force, 250.0, why


def _hours(purpose: Purpose, pull: PullKind) -> tuple[Amount, list[Reason]]:
    told = Reason(
        "hours",
        "Told 14 h, children said 13.6 and a sensor counted 5.6-6.7: ask, record, and expect less than is said.",
        BRANDAO,
    )
    if purpose == "hold":
        return Amount(8.0, 10.0, 12.0), [
            Reason("hours", "For anchorage asleep only, or 10-12 h.", ISAACSON),
            told,
        ]
    why = [
        Reason("hours", "12-14 h a day.", KIRJAVAINEN)
        if pull != "high_pull"
        else Reason("hours", "12 h a day.", FIROUZ),
        Reason("hours", "12-14 h for active retraction.", ISAACSON),
        Reason("hours", "10-14 h a day for as long as the plan asks.", TRADE),
        told,
    ]
    return Amount(10.0, 12.0 if pull == "high_pull" else 13.0, 14.0), why


def _roots(roots: RootState, age_years: float) -> list[Reason]:
    if roots == "complete":
        return []
    if roots == "unknown" and age_years >= _ROOTS_COMPLETE_YEARS:
        return []
    text = "Roots of the upper first molar are complete at 9-10 years. A root that still grows carries its centre of "
    text += "resistance apically with it: plan the line of force again at about six months, and take a new look at it."
    return [Reason("roots", text, f"{WHEELERS_ANATOMY}; the interval is {OURS}")]


def _age(age_years: float) -> list[Reason]:
    if age_years > _GROWTH_ENDS_YEARS:
        return [
            Reason(
                "age",
                f"At {age_years:g} little growth may be left to restrain: judge it (hand or neck vertebrae) before "
                "headgear. In adults a neck strap moved the crown 2.3 mm and the root 0.6 mm back, 8.6 degrees of tip.",
                "Park et al. 2017 Korean J Orthod 47(6); the age limit is our choice, no source",
            )
        ]
    return []


def _outlook(class_ii_mm: float) -> list[Reason]:
    return [
        Reason("outlook", "Class I in all of 40 children after 1.8 (SD 0.6) years.", KIRJAVAINEN),
        Reason("outlook", "About 80 % respond in 15 months; the upper jaw is restrained.", TULLOCH),
        Reason(
            "outlook",
            "With headgear the median child reached 100 % of the first phase's goal (observed only: 14 %); wear and "
            "result go together (r 0.49).",
            WHEELER,
        ),
        Reason(
            "outlook",
            f"6 mm takes about 3 years of very good wear; {class_ii_mm:g} mm at that rate {0.5 * class_ii_mm:.1f}.",
            TRADE,
        ),
    ]


def _words(pull: PullKind) -> str:
    return {"cervical": "neck strap", "high_pull": "high pull", "combination": "neck strap and cap together"}[
        pull
    ]


def suggestion_text(found: Suggestion) -> str:
    """The suggestion as lines of text."""
    f, h, n = found.force_gf, found.hours, found.force_n
    aim = "hold the molars" if found.purpose == "hold" else "correct a class II"
    lines = [
        f"Class II {found.class_ii_mm:g} mm per side at {found.age_years:g} years, roots {found.roots}, vertical "
        f"concern: {found.vertical}; to {aim}.",
        f"  pull    {_words(found.pull)} (or {', or '.join(_words(o) for o in found.others)})",
        f"  force   {f.suggested:.0f} gf ({n.suggested:.1f} N) per side, range {f.low:.0f}-{f.high:.0f} gf; begin with "
        f"{found.start_gf:.0f} gf",
        f"  hours   {h.suggested:.0f} a day, range {h.low:.0f}-{h.high:.0f}",
        "Why:",
    ]
    lines += [f"  {r.about + ':':8s} {r.text} [{r.source}]" for r in found.reasons]
    return "\n".join([*lines, *found.reminders])
