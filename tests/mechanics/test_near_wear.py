"""A worn bow's ``near``: started from a bow that differs little, the answer is that from the free bow."""

from __future__ import annotations

import numpy as np
import pytest
from rod_cases import pulls, supports, symmetric_bow

from mechanics.bend.trial import as_it_is, trial_bow
from mechanics.bow.wire import WornBow
from mechanics.rod import wear as rod_wear
from mechanics.rod.wear import elastic_wear
from mechanics.sides import SIDES

LIGAMENT = np.diag([1200.0, 900.0, 1500.0, 4e4, 3e4, 4e4])
SMALL = [("bend_deg", 0.5), ("bend_deg", -6.0), ("rise_mm", 0.3)]


def same(a: WornBow, b: WornBow) -> None:
    for side in SIDES:
        assert a.hook_mm[side] == pytest.approx(b.hook_mm[side], abs=1e-6)
        assert a.force_n[side] == pytest.approx(b.force_n[side], abs=1e-6)
        assert a.moment_n_mm[side] == pytest.approx(b.moment_n_mm[side], abs=1e-4)


@pytest.mark.parametrize(("name", "change"), SMALL)
@pytest.mark.parametrize("stiffness", [None, LIGAMENT])
def test_a_bow_bent_a_little_more_is_worn_alike(
    name: str, change: float, stiffness: np.ndarray | None
) -> None:
    bow, hold = symmetric_bow(), supports(stiffness)
    trial = as_it_is(bow)
    trial["left"][name] += change  # type: ignore[index]
    bent = trial_bow(bow, trial)
    near = elastic_wear(bow, pulls(3.0), hold).near
    assert near is not None
    same(near(bent, pulls(3.0), hold), elastic_wear(bent, pulls(3.0), hold))


@pytest.mark.parametrize("left_n", [3.1, 4.0, 1.5])
def test_another_pull_is_answered_alike_and_again_from_there(left_n: float) -> None:
    bow, hold = symmetric_bow(), supports(LIGAMENT)
    near = elastic_wear(bow, pulls(3.0), hold).near
    assert near is not None
    there = near(bow, pulls(3.0, left_n=left_n), hold)
    same(there, elastic_wear(bow, pulls(3.0, left_n=left_n), hold))
    assert there.near is not None
    same(there.near(bow, pulls(3.0), hold), elastic_wear(bow, pulls(3.0), hold))


def test_small_changes_need_no_start_from_the_free_bow(monkeypatch: pytest.MonkeyPatch) -> None:
    bow, hold = symmetric_bow(), supports(LIGAMENT)
    near = elastic_wear(bow, pulls(3.0), hold).near
    assert near is not None

    def refused(*_: object, **__: object) -> WornBow:
        raise AssertionError("started from the free bow")

    monkeypatch.setattr(rod_wear, "elastic_wear", refused)
    assert near(bow, pulls(3.1), hold).converged
    longer = trial_bow(bow, {s: {**as_it_is(bow)[s], "length_mm": bow.arm_length_mm(s) + 9.0} for s in SIDES})
    with pytest.raises(AssertionError, match="free bow"):  # other nodes: that start is no use
        near(longer, pulls(3.0), hold)


def test_a_worn_bow_carried_to_another_frame_starts_nothing() -> None:
    worn = elastic_wear(symmetric_bow(), pulls(3.0), supports())
    assert worn.moved(np.eye(3), [1.0, 0.0, 0.0]).near is None
