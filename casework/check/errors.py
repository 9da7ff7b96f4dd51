"""Refusals of the check."""

from __future__ import annotations

from mesh_tools.errors import BadValueError


class CheckError(BadValueError):
    """What was measured cannot be, or does not belong to this case; the text names the number."""
