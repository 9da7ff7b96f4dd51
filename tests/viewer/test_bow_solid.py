"""The printed bow and its jig: closed by an independent library, true to size, and the bow fits the jig."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import trimesh

from casework.bench_distances import bench_frame
from casework.plan import Plan
from mechanics.bow.wire import WirePart
from mesh_tools.errors import NoAnswerError
from mesh_tools.surface import Surface
from tests.viewer.trial_plan import trial_plan
from viewer.bow_solid import (
    BED_MM,
    GrooveBlock,
    JigError,
    bow_solid,
    jig_blocks,
    jig_of,
    jig_solid,
    wire_solid,
)


def as_trimesh(surface: Surface) -> Any:
    return trimesh.Trimesh(surface.points_mm, surface.faces, process=False)


def test_a_straight_wire_has_the_volume_of_its_prism():
    """Closed form: a regular prism of n sides in a circle of radius r, n/2 r^2 sin(2 pi / n) L."""
    wire = WirePart.uniform([[0, 0, 0], [0, 10, 0], [0, 30, 0]], 2.0, part="outer")
    solid = as_trimesh(wire_solid(wire, around=16))
    assert solid.is_watertight
    assert solid.volume == pytest.approx(8.0 * np.sin(np.pi / 8.0) * 30.0, rel=1e-9)


def test_a_ring_segment_has_the_volume_pappus_gives():
    """Pappus: area of the section times the way of its middle (a quarter circle of radius 20)."""
    a = np.linspace(0.0, 0.5 * np.pi, 400)
    wire = WirePart.uniform(np.stack([20 * np.cos(a), 20 * np.sin(a), 0 * a], -1), 2.0, part="outer")
    solid = as_trimesh(wire_solid(wire, around=96))
    assert solid.is_volume
    assert solid.volume == pytest.approx(np.pi * 20.0 * 0.5 * np.pi, rel=2e-3)


def test_the_bow_is_three_closed_shells_as_large_as_the_bow(plan: Plan):
    solid = as_trimesh(bow_solid(plan))
    assert solid.is_watertight
    assert solid.is_winding_consistent
    shells = solid.split(only_watertight=True)
    assert len(shells) == 3
    assert all(s.is_volume and s.volume > 0.0 for s in shells)
    frame = bench_frame(plan.bow_bench, plan.treatment_rotation)
    ends = frame.laid(np.array([plan.bow_bench.hook_mm[s] for s in ("right", "left")]))
    assert np.abs(solid.bounds[:, 0]).max() == pytest.approx(np.abs(ends[:, 0]).max(), abs=1.0)
    assert solid.bounds[1, 2] == pytest.approx(ends[:, 2].max(), abs=1.0)


def test_the_sheath_holds_both_wires(plan: Plan):
    pytest.importorskip("rtree")
    shells = as_trimesh(bow_solid(plan)).split(only_watertight=True)
    sheath = min(shells, key=lambda s: s.extents.max())
    frame, bow = bench_frame(plan.bow_bench, plan.treatment_rotation), plan.bow_bench
    middle = frame.laid(
        np.array([bow.inner.at(bow.joint.inner_middle_mm), bow.outer.at(bow.joint.outer_middle_mm)])
    )
    assert sheath.contains(middle).all()


def test_the_jig_is_one_closed_shell_that_fits_the_bed(plan: Plan):
    solid = as_trimesh(jig_solid(plan))
    assert solid.is_volume
    assert solid.volume > 0.0
    assert len(solid.split()) == 1
    assert solid.extents[:2].max() <= BED_MM


def test_the_bent_bow_drops_into_the_jig_and_the_unbent_one_does_not(plan: Plan):
    """No point of the bent bow's skin is inside the jig, on the way down nor in place; the straight bow's hooks are."""
    pytest.importorskip("rtree")
    jig, bow = as_trimesh(jig_solid(plan)), bow_solid(plan)
    skin = bow.points_mm[::7]
    for lift in (1e-3, 1.0, 4.0, 12.0):
        assert not jig.contains(skin + np.array([0.0, 0.0, lift])).any()
    assert jig.contains(skin - np.array([0.0, 0.0, 0.4])).any()
    frame = bench_frame(plan.bow_bench, plan.treatment_rotation)
    hooks = frame.laid(np.array([plan.bow_before.outer.at(s) for s in (2.0, 4.0, 6.0)]))
    bent = frame.laid(np.array([plan.bow_bench.outer.at(s) for s in (2.0, 4.0, 6.0)]))
    assert np.abs(hooks[:, 2] - bent[:, 2]).min() > 3.0
    assert jig.contains(hooks).any()


def test_each_groove_lies_a_wire_under_its_wire(plan: Plan):
    frame = bench_frame(plan.bow_bench, plan.treatment_rotation)
    blocks = {b.name: b for b in jig_blocks(plan, frame)}
    assert set(blocks) == {"right inner end", "left inner end", "right hook", "left hook", "front"}
    hook = frame.laid(plan.bow_bench.hook_mm["left"])
    block = blocks["left hook"]
    assert block.corner(0.0, 0.0) == pytest.approx(hook[:2], abs=1e-9)
    slope = (block.floor[1] - block.floor[0]) / block.length
    below = (hook[2] - block.floor[0]) / np.hypot(1.0, slope)
    assert below == pytest.approx(0.5 * 1.829, abs=0.02)


def test_a_jig_of_one_block_has_its_closed_form_volume():
    """Plate less its cut corner, plus block, less groove with a sloping floor."""
    block = GrooveBlock("only", np.array([0.0, 0.0]), np.array([0.6, 0.8]), 10.0, 5.0, 1.0, (4.0, 6.0), 8.0)
    solid = as_trimesh(jig_of([block], 0.0))
    feet = block.footprint()
    wide, deep = feet.max(axis=0) - feet.min(axis=0) + 10.0
    assert solid.is_volume
    plate = 3.0 * (wide * deep - 0.5 * 6.0**2)
    assert solid.volume == pytest.approx(plate + 10.0 * 10.0 * 8.0 - 2.0 * 10.0 * 3.0, rel=1e-6)


def test_blocks_that_stand_in_each_other_are_refused():
    one = GrooveBlock("hook", np.array([0.0, 0.0]), np.array([1.0, 0.0]), 10.0, 5.0, 1.0, (4.0, 4.0), 8.0)
    other = replace(one, name="inner end", start=np.array([4.0, 2.0]))
    with pytest.raises(JigError, match="stands in another one: check this bow on the bench template"):
        jig_of([one, other], 0.0)


def test_a_jig_larger_than_the_bed_is_refused():
    one = GrooveBlock("hook", np.array([0.0, 0.0]), np.array([1.0, 0.0]), 10.0, 5.0, 1.0, (4.0, 4.0), 8.0)
    far = replace(one, start=np.array([0.0, 230.0]))
    with pytest.raises(JigError, match=r"jig would be 20 x 250 mm, more than a bed of 200 x 200 mm"):
        jig_of([one, far], 0.0)


def test_nothing_is_printed_from_a_bend_that_was_not_reached():
    plan = trial_plan()
    missed = replace(plan, sides={**plan.sides, "left": replace(plan.sides["left"], solved=False)})
    for make in (bow_solid, jig_solid):
        with pytest.raises(NoAnswerError, match="NOT reached on the left side"):
            make(missed)
        with pytest.raises(NoAnswerError, match=r"RIGID in this plan: .* nothing may be bent"):
            make(replace(plan, bow_model="rigid"))
