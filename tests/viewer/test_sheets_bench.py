"""The bench sheets: true lengths on paper, long bows turned or cut into tiles that fit together, distances by ruler."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casework.bench_distances import bench_frame, ruler_distances
from casework.plan import Plan
from mechanics.bow.wire import WirePart
from mesh_tools.errors import NoAnswerError
from tests.viewer.trial_plan import outer_wire, trial_bow, trial_plan
from viewer.sheets.bench_views import BenchDrawing, bench_view
from viewer.sheets.build import sheets_of_plan
from viewer.sheets.layout import Cell, table
from viewer.sheets.model import PAPERS, Block, Circle, Path, Stroke, Text, extent
from viewer.sheets.tiling import OVERLAP, clipped, pages_of, quarter_turned, tiles


def drawn(plan: Plan) -> BenchDrawing:
    return BenchDrawing(plan, bench_frame(plan.bow_bench, plan.treatment_rotation), ("right", "left"))


@pytest.mark.parametrize("where", ["above", "right", "left"])
def test_a_view_is_one_to_one(plan: Plan, where: str):
    """Distances on paper are those of the bow along the two directions of the page."""
    drawing = drawn(plan)
    block = bench_view(drawing, where)  # type: ignore[arg-type]
    hooks = [i.centre for i in block.items if isinstance(i, Circle) and i.layer == "HOOK"]
    side = "right" if where == "above" else where
    laid = drawing.frame.laid(np.array([plan.bow_before.hook_mm[side], plan.bow_bench.hook_mm[side]]))
    axes = (0, 1) if where == "above" else (1, 2)
    assert np.hypot(*np.subtract(*hooks[:2])) == pytest.approx(
        np.linalg.norm((laid[1] - laid[0])[list(axes)]), abs=1e-6
    )


def test_from_above_the_patients_right_is_on_the_readers_right(plan: Plan):
    drawing = drawn(plan)
    right, left = (drawing.spot(plan.bow_bench.hook_mm[s], "above") for s in ("right", "left"))
    front = drawing.spot(plan.bow_bench.outer.at(plan.bow_bench.joint.outer_middle_mm), "above")
    assert right[0] > left[0]
    assert front[1] > right[1]


def test_from_the_right_the_front_is_on_the_readers_right_and_mirrored_from_the_left(plan: Plan):
    drawing = drawn(plan)
    for where, sign in (("right", 1.0), ("left", -1.0)):
        hook = drawing.spot(plan.bow_bench.hook_mm[where], where)  # type: ignore[index, arg-type]
        front = drawing.spot(plan.bow_bench.outer.at(plan.bow_bench.joint.outer_middle_mm), where)  # type: ignore[arg-type]
        assert sign * (front[0] - hook[0]) > 30.0


def test_a_level_bow_lies_on_its_inner_wire(plan: Plan):
    """Closed form: the trial bow's inner wire lies level at z = -2, so the plane is its radius below, and the hook's
    height is its own z plus 2 plus the radius."""
    frame = bench_frame(plan.bow_bench, plan.treatment_rotation)
    assert frame.rotation == pytest.approx(np.eye(3), abs=1e-6)
    height = frame.laid(plan.bow_bench.hook_mm["right"])[2]
    assert height == pytest.approx(plan.bow_bench.hook_mm["right"][2] + 2.0 + 0.5 * 1.143, abs=1e-6)


def test_the_plane_touches_the_wire_from_below_and_follows_the_bow_when_it_is_turned():
    tilt = np.radians(8.0)
    turn = np.array([[np.cos(tilt), 0, np.sin(tilt)], [0, 1, 0], [-np.sin(tilt), 0, np.cos(tilt)]])
    bow = trial_bow(outer_wire(17.0, 0.0))
    flat, turned = bench_frame(bow, np.eye(3)), bench_frame(bow.moved(turn), np.eye(3))
    assert turned.laid(bow.moved(turn).hook_mm["left"])[2] == pytest.approx(
        flat.laid(bow.hook_mm["left"])[2], abs=0.02
    )
    below = turned.laid(bow.moved(turn).inner.points_mm)[:, 2] - 0.5 * 1.143
    assert below.min() == pytest.approx(0.0, abs=0.02)


def test_a_bow_on_edge_is_refused():
    turn = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    with pytest.raises(NoAnswerError, match="stands on edge"):
        bench_frame(trial_bow(outer_wire(17.0, 0.0)).moved(turn), np.eye(3))


def test_arms_below_the_plane_are_told():
    low, high = trial_bow(outer_wire(-20.0, 0.0)), trial_bow(outer_wire(20.0, 0.0))
    assert not bench_frame(low, np.eye(3)).on_table
    shifted = replace(high.outer, points_mm=high.outer.points_mm + np.array([0.0, 0.0, 1.0]))
    assert bench_frame(replace(high, outer=shifted), np.eye(3)).on_table


def test_ruler_distances_are_straight_distances_and_fix_the_hook(plan: Plan):
    """Three distances to three known points and the sign of the height give the hook back (trilateration)."""
    from scipy.optimize import fsolve

    frame = bench_frame(plan.bow_bench, plan.treatment_rotation)
    found = {(d.name, d.side): d.bench_mm for d in ruler_distances(plan, frame)}
    bow = plan.bow_bench
    ends = bow.inner.points_mm[[0, -1]]
    front = bow.outer.at(bow.joint.outer_middle_mm)
    names = ("Hook to the inner bow's end, same side", "Hook to the inner bow's end, other side",
             "Hook to the middle of the front")  # fmt: skip
    measured = np.array([found[n, "right"] for n in names])
    known = np.array([ends[0], ends[1], front])
    back = fsolve(lambda p: np.linalg.norm(known - p, axis=1) - measured, [-50.0, 20.0, 20.0])
    assert back == pytest.approx(bow.hook_mm["right"], abs=1e-6)
    assert found["Hook height above the plane", "right"] > 0.0
    assert found["Hook to hook", None] == pytest.approx(
        np.linalg.norm(bow.hook_mm["right"] - bow.hook_mm["left"])
    )


def long_plan(arm_mm: float) -> Plan:
    """The trial plan with arms that run on straight for ``arm_mm`` more."""
    plan = trial_plan()

    def longer(wire: WirePart) -> WirePart:
        ends = [
            wire.points_mm[0] - arm_mm * wire.tangent_at(0.0),
            wire.points_mm[-1] + arm_mm * wire.tangent_at(wire.length_mm),
        ]
        points = np.concatenate([ends[:1], wire.points_mm, ends[1:]])
        return WirePart(points, np.full(len(points), 1.829), "outer")

    return replace(
        plan,
        bow_before=trial_bow(longer(outer_wire(4.0, 0.0))),
        bow_bench=trial_bow(longer(outer_wire(17.2, 0.0))),
    )


def test_a_bow_longer_than_the_paper_is_wide_is_turned():
    sheets = sheets_of_plan(long_plan(110.0), PAPERS["a4"])
    pages = [s for s in sheets if s.name.startswith("bench-template")]
    assert len(pages) > 1
    texts = [
        i for p in pages for i in p.items if isinstance(i, Text) and i.text == "Right arm, from the right"
    ]
    assert len(texts) == 1
    assert texts[0].turn_deg == 90.0


def test_a_bow_longer_than_the_paper_is_cut_with_crosses():
    pages = [
        s for s in sheets_of_plan(long_plan(190.0), PAPERS["letter"]) if s.name.startswith("bench-template")
    ]
    words = [i.text for p in pages for i in p.items if isinstance(i, Text)]
    assert any("part 1 of" in w for w in words)
    for page in pages:
        left, low, right, top = extent(page.items)
        assert left >= 0.0
        assert low >= 0.0
        assert right <= page.paper.width
        assert top <= page.paper.height


wide = st.floats(60.0, 500.0)


@given(width=wide, height=wide, x=st.floats(0.0, 1.0), y=st.floats(0.0, 1.0))
@settings(max_examples=40, deadline=None)
def test_tiles_cover_the_drawing_and_their_crosses_agree(width: float, height: float, x: float, y: float):
    """Every spot is on some tile, and neighbours share crosses that lie on one spot of the drawing."""
    spot = (x * width, y * height)
    block = Block(width, height, (Path("GUIDE", ((0.0, 0.0), (width, height)), Stroke(width_mm=0.0)),))
    parts = tiles(block, width=100.0, height=90.0)
    columns = int(np.ceil((width - OVERLAP) / (100.0 - OVERLAP)))
    origins = [
        (k % columns * (100.0 - OVERLAP), height - k // columns * (90.0 - OVERLAP) - 90.0)
        for k in range(len(parts))
    ]
    assert any(o[0] <= spot[0] <= o[0] + 100.0 and o[1] <= spot[1] <= o[1] + 90.0 for o in origins)
    crosses: dict[tuple[float, float], int] = {}
    for part, o in zip(parts, origins, strict=True):
        for item in part.block.items:
            if isinstance(item, Circle):
                at = (round(item.centre[0] + o[0], 6), round(item.centre[1] + o[1], 6))
                crosses[at] = crosses.get(at, 0) + 1
    if len(parts) > 1:
        assert max(crosses.values()) >= 2


def test_clipping_keeps_what_is_inside_to_the_closed_form():
    """The diagonal of a 10 mm square cut by the window 2..8 is 6 root 2 long."""
    window = (2.0, 2.0, 8.0, 8.0)
    (cut,) = clipped(Path("GUIDE", ((0.0, 0.0), (10.0, 10.0)), Stroke(width_mm=0.0)), window)
    assert isinstance(cut, Path)
    assert np.hypot(*np.subtract(*cut.points)) == pytest.approx(6.0 * np.sqrt(2.0))
    assert clipped(Path("GUIDE", ((0.0, 9.0), (10.0, 9.0)), Stroke()), window) == []
    assert clipped(Circle("GUIDE", (3.0, 3.0), 2.0), window) == []
    closed = clipped(
        Path("GUIDE", ((3.0, 3.0), (5.0, 3.0), (5.0, 5.0)), Stroke(width_mm=0.0), closed=True), window
    )
    assert sum(len(p.points) for p in closed if isinstance(p, Path)) == 4


def test_a_quarter_turn_keeps_lengths_and_stays_in_its_box():
    block = Block(100.0, 40.0, (Path("GUIDE", ((1.0, 2.0), (99.0, 39.0))), Circle("HOOK", (10.0, 20.0), 2.0),
                                Text("TEXT", (5.0, 5.0), "word")))  # fmt: skip
    turned = quarter_turned(block)
    assert (turned.width, turned.height) == (40.0, 100.0)
    left, low, right, top = extent(turned.items)
    assert left >= 0.0
    assert low >= 0.0
    assert right <= 40.0
    assert top <= 100.0


def test_drawings_share_a_page_while_they_fit_and_keep_their_order():
    def block(name: str, width: float, height: float) -> Block:
        return Block(width, height, (Text("TEXT", (1.0, 1.0), name),))

    pages = pages_of(
        [block("a", 80, 40), block("b", 80, 40), block("c", 80, 40), block("d", 80, 95)],
        width=186.0,
        height=100.0,
    )
    names = [[i.text for i in p.block.items if isinstance(i, Text)] for p in pages]
    assert names == [["a", "b", "c"], ["d"]]


def test_a_table_keeps_its_cells_in_their_columns():
    block = table(
        ["first", "second"], [[Cell("a long text that has to wrap more than once"), Cell("2")]], [20.0, 30.0]
    )
    for item in block.items:
        if isinstance(item, Text) and item.text not in ("second", "2"):
            assert item.box()[2] <= 20.0
