"""The probe survives a child that dies, hangs or draws nothing, and says what to install."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from viewer import drawing_probe as dp


@pytest.mark.parametrize(
    "child",
    [
        "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)",
        "print('nothing drawn')",
        "raise SystemExit('DRAWN')",
        "import time; time.sleep(30)",
    ],
    ids=["killed", "silent", "failing", "hanging"],
)
def test_a_child_that_cannot_draw_means_no_drawing(child: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dp, "_CHILD", child)
    monkeypatch.setattr(dp, "_TIMEOUT_S", 1.0)
    assert not dp.probe(dict(os.environ)).can_draw


def test_the_kind_that_works_is_found_after_those_that_do_not(monkeypatch: pytest.MonkeyPatch) -> None:
    child = f"import os; print('DRAWN' if os.environ.get({dp.WINDOW_KEY!r}) == 'vtkOSOpenGLRenderWindow' else 'no')"
    monkeypatch.setattr(dp, "_CHILD", child)
    bare = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", dp.WINDOW_KEY)}
    assert dp.probe(bare).window == "vtkOSOpenGLRenderWindow"
    assert (
        dp.probe({**bare, dp.WINDOW_KEY: "vtkEGLRenderWindow"}).window is None
    )  # a given kind is not overruled


def test_the_line_names_both_packages_and_is_one_line() -> None:
    assert "libegl1" in dp.NO_DRAWING
    assert "libgl1-mesa-dri" in dp.NO_DRAWING
    assert "\n" not in dp.NO_DRAWING


def test_asking_does_not_load_the_drawing_library() -> None:
    code = "import sys, viewer.drawing_probe; assert not {'pyvista', 'vtk', 'matplotlib'} & set(sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
