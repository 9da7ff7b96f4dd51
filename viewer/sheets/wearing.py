"""The wearing sheet for patient and parent, in plain words: a reading age of twelve or below, tested.

What it says is what the cautions say (casework/cautions.py, with their sources); hours and order of hands: common
practice, no source.
"""

from __future__ import annotations

from viewer.sheets.frame import Draft, Room
from viewer.sheets.layout import (
    abreast,
    blank_line,
    bullet,
    heading,
    needs_room,
    numbered,
    panel,
    paragraph,
    stacked,
)
from viewer.sheets.model import WARN, Block, Stroke

WEAR = (
    "Wear it when you are at home and when you sleep. Wear it each day.",
    "Did you miss some hours? Do not pull the strap tighter to catch up.",
    "Write down your hours each day. Bring the list and the headgear to each visit.",
    "It works slowly, while you grow. It can take years. Good wear helps the most.",
)
PUT_ON = (
    "Wash your hands. Stand at a mirror.",
    "Hold the bow in both hands. Slide one end into its tube. Press the bow together a bit. Slide the other end in.",
    "Lock the bow in its tubes the way we showed you.",
    "Hold the bow still with one hand. Put the strap on.",
    "Hook both sides at the same time. Use the holes we marked.",
)
TAKE_OFF = (
    "The strap comes off FIRST. Unhook both sides.",
    "Then open the lock. Slide the bow out with both hands.",
    "Never lift bow and strap off in one piece over your face.",
    "Put it in its box. Brush your teeth and tubes.",
)
NEVER = (
    "Never play, run, fight or do sport with it on.",
    "Never let anyone pull the bow or the strap.",
    "Never bend it. Never mend it at home.",
    "Never wear it when a part is broken or missing.",
    "Never wear it when the safety clips or the lock do not work.",
)
STOP = (
    "It was loose or off when you woke up, even once.",
    "The bow does not slide in, or it slips out.",
    "A band or a tube on a tooth is loose.",
    "A clip, the strap or the bow is broken or bent.",
    "Your skin is sore, or a tooth hurts more and more.",
)
EYE = (
    "Did the bow hit your eye? This is an emergency. Go to a hospital now. Go even if the eye looks fine and does not "
    "hurt.",
    "Tell them: “The wire was in my mouth. It has germs on it.” Take the bow with you. Then phone us.",
)
PRACTICE = (
    "Practice:",
    "Phone:",
    "Nights and weekends:",
    "Emergency, eye hospital:",
    "Next visit:",
    "Ask for:",
)
NOT_WITH_THIS = "Not to be handed out with this plan."
_SIZE = 3.35
_SIGNED = (
    "We have read this and tried it at the practice.   Date ______________   Patient ____________________   "
    "Parent ____________________"
)


def wearing_words() -> list[str]:
    """Every sentence for patient and parent, as tested for its reading age."""
    return [
        *WEAR,
        *PUT_ON,
        *TAKE_OFF,
        *NEVER,
        *STOP,
        *EYE,
        _STOP_HEAD,
        _hours_words(None),
        _hours_words(12.0),
    ]


_STOP_HEAD = "Stop wearing it and phone us if:"


def _hours_words(hours: float | None) -> str:
    return (
        "Wear it for ________ hours each day." if hours is None else f"Wear it for {hours:g} hours each day."
    )


def wearing_draft(space: Room, *, hours: float | None, withheld: bool = False) -> Draft:
    """The sheet; ``hours`` a day are left blank when not given. ``withheld``: marked as not to be handed out."""
    half = 0.5 * space.width - 4.0
    left = stacked([
        _part("How much", (_hours_words(hours),), half, bold=True), _points(WEAR, half),
        heading("Putting it on", half), _steps(PUT_ON, half),
        heading("Taking it off", half), _steps(TAKE_OFF, half),
    ], gap=2.4)  # fmt: skip
    right = stacked([
        heading("Never", half, colour=WARN), _points(NEVER, half, bold=True),
        heading(_STOP_HEAD, half, colour=WARN), _points(STOP, half),
        panel(stacked([paragraph("Eye", half - 6.0, size=4.4, bold=True, colour=WARN),
                       *(paragraph(t, half - 6.0, size=_SIZE, bold=True) for t in EYE)]), pad=3.0,
              stroke=Stroke(WARN, 0.6)),
    ], gap=2.4)  # fmt: skip
    numbers = stacked([heading("Our numbers", space.width), *_numbers(space.width)], gap=0.6)
    signed = paragraph(_SIGNED, space.width, size=2.7)
    mark = [paragraph(NOT_WITH_THIS, space.width, size=4.0, bold=True, colour=WARN)] if withheld else []
    block = stacked([*mark, abreast([left, right]), numbers, signed], gap=3.0)
    needs_room(block, width=space.width, height=space.height, what="the wearing sheet", paper=space.paper)
    return Draft(
        "wearing-sheet",
        "Your headgear",
        NOT_WITH_THIS if withheld else "for you and your parents: keep it where you can see it",
        block,
        warn=withheld,
    )


def _numbers(width: float) -> list[Block]:
    """Lines for the practice's own numbers, two abreast."""
    half = 0.5 * width - 4.0
    rows = [PRACTICE[k : k + 2] for k in range(0, len(PRACTICE), 2)]
    return [abreast([blank_line(label, half) for label in row]) for row in rows]


def _part(title: str, lines: tuple[str, ...], width: float, *, bold: bool) -> Block:
    return stacked(
        [heading(title, width), *(paragraph(t, width, size=3.8, bold=bold) for t in lines)], gap=1.6
    )


def _points(lines: tuple[str, ...], width: float, *, bold: bool = False) -> Block:
    return stacked([bullet(text, width, size=_SIZE, bold=bold) for text in lines], gap=0.8)


def _steps(lines: tuple[str, ...], width: float) -> Block:
    return stacked([numbered(k + 1, text, width, size=_SIZE) for k, text in enumerate(lines)], gap=0.8)
