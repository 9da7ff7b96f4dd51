"""``report.pdf``: what ``report.html`` says, as pages for the file, made without a browser."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from casework.cautions import SHORT_CAUTION
from viewer.pdf_flow import Look, grid, pdf_of, picture, points, words
from viewer.report import report_content
from viewer.report_made import from_words
from viewer.scene import Scene

if TYPE_CHECKING:
    from casework.case_copy import CaseUsed
    from casework.plan import Plan

_PLACES = (
    "Coordinates as in the scans: +x the patient's left, +y back, +z up. At the published scatter (SD 1.4 to 2.7 mm in "
    "each direction about the trifurcation) the centre is a region, not a dot."
)
_FEED = (
    "Feed: along the wire from the bend before (the first from the middle of the joint). Way and turn as seen from "
    "behind: 0° up, 90° outward. The angle is that between the wire before and behind the bend; the bend on the first "
    "page is seen from the side, where an arm that also runs outward turns a little more."
)
_CHEEK = (
    "Mark: mesial end of the tube; dot: the target; both carried sideways to the skin. Up at right angles to the "
    "occlusal plane, back along it. The cheek moves over the tooth: marks on it are a guide, true to some mm."
)
_REGION = (
    "The moment is what is left when the bend is made as ordered; the region holds the centre: its diameters."
)
_NO_BEND = "do not bend from this plan"
_NOT_PASSIVE = "The inner bow is not passive: it loads the molars as soon as it is in its tubes."
_BEND_HEAD = ("Bend", "Place from the middle", "Feed", "Bend it", "Turn the wire", "Angle", "Under the plier")
Content = dict[str, Any]


def report_pdf(
    plan: Plan, scene: Scene, *, picture_png: bytes | None = None, bow_png: bytes | None = None,
    side_png: bytes | None = None, used: CaseUsed | None = None,
) -> bytes:  # fmt: skip
    """The file's bytes; pictures are those of ``viewer.report.report_html``. Needs the extra ``figures``."""
    content = report_content(plan, scene, used)
    story = [
        *_first_page(plan, content),
        *_centres(content),
        *_loads(content),
        *_at_the_bench(content),
        *_sureness(content),
        *_pictures(side_png, bow_png, picture_png),
        *_cautions(content),
        *_grounds(plan, content),
    ]
    return pdf_of(
        story, title=f"Bend plan, case {plan.case_id}", foot=f"Case {plan.case_id}. {SHORT_CAUTION}"
    )


def _first_page(plan: Plan, content: Content) -> list[Any]:
    age = "" if plan.age_years is None else f", age {plan.age_years:g}"
    about = f"{content['pull']} pull{age}; bow taken as {plan.bow_model}; bowtrue {plan.version}"
    head = ["", *(f"{s['name'].capitalize()} outer arm, molar {s['tooth']}" for s in content["sides"])]
    story = [
        words(f"Bend plan, case {plan.case_id}", "title"),
        words(about, "soft"),
        grid(head, _orders(content["sides"]), _shares(content)),
    ]
    if content["refusals"]:
        story += [words("Do not bend from this plan", "small head"), *points(content["refusals"], "refuse")]
    if plan.warnings:
        story += [words("Mind", "small head"), *points(plan.warnings, "warn")]
    advice = list(dict.fromkeys(text for s in content["sides"] for text in s["advice"]))
    return [*story, *([words("What would help", "small head"), *points(advice)] if advice else [])]


def _shares(content: Content) -> list[float]:
    return [0.26, *[0.74 / len(content["sides"])] * len(content["sides"])]


def _orders(sides: Sequence[Content]) -> list[list[str | Look]]:
    """The first table: a row a thing to know, a column a side."""

    def before_after(key: str) -> list[str]:
        return [f"{s['before'][key]} before; {s['after'][key]} after" for s in sides]

    def order(s: Content) -> Look:
        return Look(s["bend"], "order" if s["solved"] else "no order")

    rows: list[list[str | Look]] = [
        [Look("Bend", "bold cell"), *map(order, sides)],
        ["Where", *(f"at {s['place']} from the middle" if s["solved"] else _NO_BEND for s in sides)],
    ]  # fmt: skip
    if all(s["solved"] for s in sides):
        plier = [" ".join([f"to {s['plier']}; springs back to the bend.", *s["bench_notes"]]) for s in sides]
        rows.append(["Under the plier", *plier])
    rows += [
        ["Line of force and target", *before_after("offset")],
        ["Tipping moment", *before_after("moment")],
        ["First movement", *before_after("movement")],
        ["On the molar", *(f"{'; '.join(s['on_molar'])}" for s in sides)],
    ]
    if any(s["predicted"] for s in sides):
        rows.append(["Predicted after the bend", *(s["predicted"] for s in sides)])
    rows += [
        ["Strap", *(f"{s['strap']}; the load carries the hook {s['hook_travel']}" for s in sides)],
        ["Target; outer arm", *(f"{s['target']}; {s['arm']}" for s in sides)],
    ]
    if not all(s["solved"] for s in sides):
        rows.append(
            ["“After”, and every load", *["of the bow as the search left it: not to be made"] * len(sides)]
        )
    return rows


def _centres(content: Content) -> list[Any]:
    sides = content["sides"]
    head = ["Method"]
    for s in sides:
        head += [f"{s['name'].capitalize()}: x, y, z (mm)", "from rule"]
    rows = []
    for row in content["methods"]:
        cells: list[str | Look] = [row["name"] + (" (fallback)" if row["fallback"] else "")]
        for cell in row["cells"]:
            if cell is None:
                cells += ["none", ""]
            else:
                target = " (target)" if cell["chosen"] else ""
                cells += [
                    Look(cell["point"] + target, "bold cell" if cell["chosen"] else "cell"),
                    cell["distance"],
                ]
        rows.append(cells)
    table = grid(head, rows, [0.26, *[0.37, 0.13] * len(sides)])
    return [words("Centre of resistance by method", "head"), table, words(_PLACES, "soft")]


def _by_side(content: Content, title: str, key: str, head: str, note: str = "") -> list[Any]:
    """A titled table of ``content[key]``, a column a side; nothing where there are no rows."""
    rows = content.get(key)
    if not rows:
        return []
    names = [head, *(f"{s['name'].capitalize()} {s['tooth']}" for s in content["sides"])]
    cells = [[Look(r["name"], "bold cell", r.get("means", "")), *r["cells"]] for r in rows]
    table = grid(names, cells, _shares(content))
    return [words(title, "head"), table, *([words(note, "soft")] if note else [])]


def _loads(content: Content) -> list[Any]:
    about = "On the molar, about its target"
    return [
        *_by_side(content, "What each molar feels with the straps on", "wrench", about),
        *_by_side(
            content, "What each molar feels before any strap", "inserted", about, _NOT_PASSIVE
        ),
        *_by_side(content, "The bow in the mouth", "state", "", content["stress"]),
        *_by_side(
            content, "The worn bow and the face", "clearance", "Nearest, wire's surface to scan"
        ),
        *_by_side(content, "On the cheek", "cheek", "Marks", _CHEEK),
    ]  # fmt: skip


def _at_the_bench(content: Content) -> list[Any]:
    if not content["bench"]:
        return []
    story = [words("At the bench", "head")]
    for arm in content["bench"]:
        story.append(
            words(f"{arm['name'].capitalize()} outer arm: from the fitted bow to the bent one", "small head")
        )
        if arm["rows"]:
            keys = ("number", "place", "feed", "way", "turn", "angle", "plier")
            rows: list[list[str | Look]] = [
                [*(str(r[k]) for k in keys[:5]), *(Look(r[k], "bold cell") for k in keys[5:])] for r in arm["rows"]
            ]  # fmt: skip
            story.append(grid(_BEND_HEAD, rows, (0.08, 0.2, 0.12, 0.2, 0.15, 0.11, 0.14)))
        story += [words(note, "soft") for note in arm["notes"]]
    return [*story, words(_FEED, "soft")]


def _sureness(content: Content) -> list[Any]:
    samples = content["samples"]
    note = f"{samples.capitalize()}. {_REGION}" if samples else ""
    return [
        *_by_side(content, "How sure", "sure", "95 % of the sampled inputs", note),
        *_by_side(
            content, "How sensitive", "sensitivities", "The line of force at the target moves"
        ),
    ]  # fmt: skip


def _pictures(side_png: bytes | None, bow_png: bytes | None, picture_png: bytes | None) -> list[Any]:
    from reportlab.platypus import KeepTogether

    named = (
        ("As you stand beside the patient", side_png),
        ("Bench shape and worn shape", bow_png),
        ("The scene", picture_png),
    )
    return [
        KeepTogether([words(title, "head"), picture(png)])
        for title, png in named
        if png is not None
    ]  # fmt: skip


def _cautions(content: Content) -> list[Any]:
    said = [words(c.text, "point", more=c.source, mark="•") for c in content["cautions"]]
    return [words("Cautions", "head"), *said]


def _grounds(plan: Plan, content: Content) -> list[Any]:
    """What the numbers rest on: assumptions, findings, versions, choices, inputs."""
    made = content["made"]
    story = [words("What each method takes for granted", "head")]
    for row in content["methods"]:
        source = f"({row['source']})" if row["source"] else ""
        story += [words(f"{row['name']}: {row['assumptions']}", "body", more=source)]
    if plan.findings:
        story += [words("What the scans showed", "head"), *points(plan.findings)]
    story += [
        words("How this was made", "head"),
        words(f"{made.versions}; {made.machine}."),
        words(made.again),
    ]
    if made.values:
        rows: list[list[str | Look]] = [[r.key, r.value, from_words(r)] for r in made.values]
        story += [words(f"Measured and given: {made.landmarks}. Every other value of the case:", "soft"),
                  grid(("Value", "Is", "From"), rows, (0.29, 0.16, 0.55), cell="small cell")]  # fmt: skip
    inputs: list[list[str | Look]] = [[i.name, i.file, i.sha256] for i in plan.inputs]
    table = grid(("Made from", "File", "SHA-256"), inputs, (0.16, 0.28, 0.56), cell="small cell")
    return [*story, table]
