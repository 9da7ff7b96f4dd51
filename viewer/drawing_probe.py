"""Can this machine draw in 3D? Asked in a child process, because VTK without OpenGL libraries kills its process.

The window kinds are tried in the order that stays quiet on a machine without a screen. The answer is kept for the
rest of the run.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

WINDOW_KEY = "VTK_DEFAULT_OPENGL_WINDOW"
NO_DRAWING = (
    "no 3D pictures: this machine has no OpenGL; "
    "install the system packages libegl1 and libgl1-mesa-dri to get them (flat drawings were made instead)."
)
_EGL, _OSMESA = "vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow"
_TIMEOUT_S = 60.0
_CHILD = """
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkFiltersSources import vtkSphereSource
from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper, vtkRenderer
from vtkmodules.vtkRenderingCore import vtkRenderWindow, vtkWindowToImageFilter
ball, mapper, actor = vtkSphereSource(), vtkPolyDataMapper(), vtkActor()
mapper.SetInputConnection(ball.GetOutputPort())
actor.SetMapper(mapper)
look = actor.GetProperty()
look.SetColor(1.0, 0.0, 0.0)
look.LightingOff()
scene, window, picture = vtkRenderer(), vtkRenderWindow(), vtkWindowToImageFilter()
scene.SetBackground(1.0, 1.0, 1.0)
scene.AddActor(actor)
window.SetOffScreenRendering(True)
window.SetSize(32, 32)
window.AddRenderer(scene)
window.Render()
picture.SetInput(window)
picture.Update()
red, green = (picture.GetOutput().GetScalarComponentAsDouble(16, 16, 0, k) for k in range(2))
assert red > 200 and green < 60
print("DRAWN")
"""


@dataclass(frozen=True)
class DrawingProbe:
    """What the child found: ``window`` is the kind that drew ("" is VTK's own choice), None when none did."""

    window: str | None

    @property
    def can_draw(self) -> bool:
        """True when a picture came out."""
        return self.window is not None


@cache
def drawing_probe() -> DrawingProbe:
    """Probe once a run; a second call costs nothing."""
    return probe(os.environ)


def probe(environment: Mapping[str, str]) -> DrawingProbe:
    """Draw one red ball in a child process for each window kind until one works."""
    given = environment.get(WINDOW_KEY)
    screen = bool(environment.get("DISPLAY"))
    kinds = [given] if given else ["", _EGL, _OSMESA] if screen else [_EGL, "", _OSMESA]
    return DrawingProbe(next((kind for kind in kinds if _draws(kind, environment)), None))


def _draws(kind: str, environment: Mapping[str, str]) -> bool:
    child_environment = {k: v for k, v in environment.items() if k != WINDOW_KEY}
    if kind:
        child_environment[WINDOW_KEY] = kind
    command = [sys.executable, "-X", "faulthandler=0", "-c", _CHILD]
    try:
        done = subprocess.run(
            command, env=child_environment, capture_output=True, timeout=_TIMEOUT_S, check=False
        )
    except (subprocess.TimeoutExpired, OSError):
        return False
    return done.returncode == 0 and b"DRAWN" in done.stdout
