"""Shared by the viewer's tests: the trial plan, and a guard that fails a test on any VTK message or leaked window."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest

from casework.plan import Plan
from tests.viewer.trial_plan import trial_plan
from viewer.scene import Scene
from viewer.scene_of_plan import scene_of_plan


@pytest.fixture(scope="session")
def plan() -> Plan:
    return trial_plan()


@pytest.fixture(scope="session")
def scene(plan: Plan) -> Scene:
    return scene_of_plan(plan)


@pytest.fixture
def window() -> Iterator[str]:
    """The kind of window that draws here; the test fails on a VTK message or a window that stays behind."""
    from viewer.drawing_probe import drawing_probe

    kind = drawing_probe().window
    if kind is None:
        pytest.skip("this machine cannot draw in 3D (needs libegl1 and libgl1-mesa-dri)")
    import pyvista as pv

    with pv.VtkErrorCatcher() as catcher:
        yield kind
    pv.close_all()
    gc.collect()
    assert not catcher.events
    assert not [o for o in gc.get_objects() if type(o).__name__.endswith("OpenGLRenderWindow")]
