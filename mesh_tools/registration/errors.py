"""Refusals of registration: each says what does not fit and what to do."""

from __future__ import annotations

from mesh_tools.errors import BadValueError


class RegistrationError(BadValueError):
    """Two scans cannot be laid on one another so that it can be trusted."""


class LandmarkPairError(RegistrationError):
    """Landmark pairs are too few, on one line, or contradict each other."""


class UnitMismatchError(RegistrationError):
    """The two scans differ in size by the ratio of two units."""


class MirroredDataError(RegistrationError):
    """One scan fits the other clearly better as its mirror image."""


class PoorOverlapError(RegistrationError):
    """Too little of one scan lies on the other."""


class ResidualError(RegistrationError):
    """The scans lie over one another but differ by more than scans of one person do."""


class AmbiguousFitError(RegistrationError):
    """The shapes fit one another in more than one way, or slide along one another."""
