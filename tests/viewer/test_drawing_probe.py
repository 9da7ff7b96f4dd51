"""The probe survives a child that dies, hangs or draws nothing, and says what to install."""

from __future__ import annotations

import os
import shutil
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


BARE = """
for name in libEGL libGL libGLX libEGL_mesa libOSMesa libX11; do
  for file in $(ldconfig -p | grep -E "/$name\\\\.so\\\\.[0-9]" | sed 's/.*=> //'); do
    mount --bind /dev/null "$(readlink -f "$file")"
  done
done
exec "$0" -c "from viewer.drawing_probe import drawing_probe; print('probe says', drawing_probe().window)"
"""


@pytest.mark.slow
def test_a_machine_whose_opengl_libraries_are_gone_is_found_out() -> None:
    """The real thing: in a mount namespace of its own the system's OpenGL libraries are hidden behind empty files."""
    if sys.platform != "linux" or os.geteuid() != 0 or shutil.which("unshare") is None:
        pytest.skip("needs root on Linux and unshare to hide the OpenGL libraries from a child")
    environment = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", dp.WINDOW_KEY)}
    command = ["unshare", "-m", "bash", "-c", BARE, sys.executable]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=120, check=False)
    if "Operation not permitted" in done.stderr or "permission denied" in done.stderr:
        pytest.skip(f"this machine does not let mounts be hidden: {done.stderr.strip()[:120]}")
    assert done.stdout.strip() == "probe says None", done.stderr
