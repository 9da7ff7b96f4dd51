"""What tooth anatomy refuses, each as one clear line."""

from __future__ import annotations

from mesh_tools.errors import BowtrueError, NoAnswerError


class ToothUpsideDownError(BowtrueError, ValueError):
    """The crown lies on the apical side for this tooth number: wrong axes code or wrong jaw."""


class ToothOnItsSideError(BowtrueError, ValueError):
    """The long axis lies across the patient's vertical: wrong axes code."""


class CrownOnlyError(BowtrueError, ValueError):
    """The surface has no root, so only crown measures and average anatomy apply."""


class ToothNumberError(BowtrueError, ValueError):
    """The tooth number contradicts the roots that the surface shows."""


class NoCervicalLineError(NoAnswerError):
    """No closed line around the neck of the tooth could be followed."""


class LandmarkError(BowtrueError, ValueError):
    """A landmark has an unknown name or does not fit the surface."""
