"""Invented anatomy for the demo case, with the generator that made it."""

from __future__ import annotations

from importlib import resources
from pathlib import Path


def demo_folder() -> Path:
    """Folder that holds the demo's ``case.toml`` and meshes."""
    return Path(str(resources.files(__name__)))
