"""``bowtrue page --window``: the desktop window on a real or a virtual screen, and the keys of its views."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.viewer.page_server import ROOT, demo_case
from viewer.drawing_probe import WINDOW_KEY
from viewer.page.window import NoWindowError, check_screen, listen, plotter_of
from viewer.palette import look
from viewer.scene import Scene

grab = pytest.importorskip("PIL.ImageGrab", reason="needs pillow (comes with the figures extra)")
slow = pytest.mark.slow
_BOW = np.array([int(look("bow_after").colour[k : k + 2], 16) for k in (1, 3, 5)])


@pytest.fixture
def screen(tmp_path: Path) -> Iterator[str]:
    """A virtual screen of its own; its number is chosen by the server."""
    if shutil.which("Xvfb") is None:
        pytest.skip("needs Xvfb (apt package xvfb): a window cannot be looked at without a screen")
    take, give = os.pipe()
    command = ["Xvfb", "-displayfd", str(give), "-screen", "0", "1366x768x24", "-nolisten", "tcp"]
    server = subprocess.Popen(command, pass_fds=(give,), stderr=subprocess.DEVNULL)
    os.close(give)
    try:
        with os.fdopen(take) as answer:
            number = answer.readline().strip()
        assert number.isdecimal()
        yield f":{number}"
    finally:
        server.terminate()
        server.wait(10)


def seen(screen: str) -> Any:
    """The screen (768, 1366, 3)."""
    return np.asarray(grab.grab(xdisplay=screen).convert("RGB")).astype(int)


def of_the_bow(picture: Any) -> int:
    """Pixels of the bow's hue: far more blue than red, as its role's colour is."""
    assert _BOW[2] > _BOW[0] + 80
    return int(((picture[..., 2] > picture[..., 0] + 60) & (picture[..., 2] > 70)).sum())


@slow
def test_the_window_shows_the_planned_bow_on_a_screen(screen: str, tmp_path: Path) -> None:
    case = demo_case(tmp_path / "case")
    command = [sys.executable, "-m", "viewer.cli", "page", str(case), "--window"]
    environment = {**os.environ, "DISPLAY": screen, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    with (tmp_path / "said").open("w+") as said:
        window = subprocess.Popen(command, env=environment, stdout=said, stderr=said, cwd=tmp_path)
        try:
            until = time.monotonic() + 180.0
            while of_the_bow(seen(screen)) < 3000:
                assert window.poll() is None, Path(said.name).read_text()
                assert time.monotonic() < until, "nothing of the bow on the screen"
                time.sleep(0.5)
            time.sleep(1.0)
            picture = seen(screen)
            where = os.environ.get("BOWTRUE_SCREENSHOTS")
            if where:
                grab.grab(xdisplay=screen).save(Path(where) / "window.png")
            assert (picture.min(axis=2) > 250).mean() > 0.02  # its white ground
            skin = (picture[..., 0] > picture[..., 2] + 5) & (picture.min(axis=2) > 150)
            assert skin[:700, :1200].mean() > 0.25  # the face, which one can see through
            assert not (picture[705:] > 20).any()  # it fits a laptop's screen with room for a frame
            assert window.poll() is None  # it stays until it is closed
        finally:
            window.terminate()
            window.wait(20)
        assert "Traceback" not in Path(said.name).read_text()


@pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="other systems have a screen without DISPLAY"
)
def test_without_a_screen_it_refuses_before_any_work(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    with pytest.raises(NoWindowError, match="no screen"):
        check_screen()


@slow
def test_a_key_turns_to_its_view_and_nothing_else(
    scene: Scene, window: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(WINDOW_KEY, window)
    plotter = plotter_of(scene, off_screen=True)
    listen(plotter, scene)
    keyboard = plotter.iren.interactor
    for key, way in {"l": (1, 0, 0), "f": (0, -1, 0), "a": (0, 0, 1), "r": (-1, 0, 0)}.items():
        plotter.camera.parallel_scale = 1.0
        keyboard.SetKeyCode(key)
        keyboard.InvokeEvent("CharEvent")
        away = np.array(plotter.camera.position) - np.array(plotter.camera.focal_point)
        assert away / np.linalg.norm(away) == pytest.approx(way, abs=1e-3)
        assert (
            20.0 < plotter.camera.parallel_scale < 120.0
        )  # half the height of the bow's picture, not of the whole face
    plotter.close()
