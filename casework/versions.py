"""What computed a plan: the versions of the program, of Python and of the libraries its numbers come from."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

_NUMBERS = ("numpy", "scipy", "trimesh")


def versions_used() -> dict[str, str]:
    """Name and version of everything that a plan's numbers rest on, the program first."""
    found = {"bowtrue": _version("bowtrue"), "Python": platform.python_version()}
    return found | {name: _version(name) for name in _NUMBERS}


def machine_words() -> str:
    """System and processor, since the last digits of a sum may depend on them."""
    return f"{platform.system()} on {platform.machine()}".strip()


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not known"
