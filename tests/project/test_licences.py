"""The licence of every library that an installation brings: permissive in the core and in every extra."""

import re
from importlib.metadata import PackageNotFoundError, distribution

import pytest

PERMISSIVE = re.compile(
    r"MIT|BSD|Apache|ISC|PSF|Python Software Foundation|Zlib|HPND|MPL|Mozilla|Unlicense|CC0|Public Domain|"
    r"0BSD|PIL|Boost|Bitstream|matplotlib", re.IGNORECASE,
)  # fmt: skip
COPYLEFT = re.compile(r"\b(A?GPL|GNU (Affero )?General Public)", re.IGNORECASE)
KNOWN = {
    "matplotlib": "PSF-based, stated in its licence file",
    "docutils": "public domain and BSD; its one GPL file is an editor mode that nothing imports",
}
"""Libraries whose metadata does not settle it; read by hand."""
EXTRAS = ("figures", "page", "study", "cluster")


def requirements(name, extras=()):
    """Names of what the distribution ``name`` needs, with its ``extras``."""
    from packaging.requirements import Requirement

    for text in distribution(name).requires or ():
        needed = Requirement(text)
        if needed.marker is None or any(needed.marker.evaluate({"extra": e}) for e in ("", *extras)):
            yield needed.name, tuple(needed.extras)


def brought():
    """Every distribution that ``pip install bowtrue`` and its extras bring, followed to the end."""
    found, todo = set(), [("bowtrue", EXTRAS)]
    while todo:
        name, extras = todo.pop()
        for needed, more in requirements(name, extras):
            key = re.sub(r"[-_.]+", "-", needed).lower()
            if key in found:
                continue
            try:
                distribution(key)
            except PackageNotFoundError:
                continue  # an optional part for another system
            found.add(key)
            todo.append((key, more))
    return sorted(found - {"bowtrue"})


def licence(name):
    """All that the metadata says of the licence."""
    meta = distribution(name).metadata
    classes = [c for c in meta.get_all("Classifier") or () if c.startswith("License")]
    first = (meta.get("License") or "").splitlines()[:1]
    return " / ".join([meta.get("License-Expression") or "", *first, *classes]).strip(" /")


def test_the_tree_is_followed_to_the_end():
    names = brought()
    assert {"numpy", "scipy", "trimesh", "pyvista", "nicegui", "starlette", "pyarrow", "distributed"} <= set(
        names
    )


@pytest.mark.parametrize("name", brought())
def test_every_library_is_permissive(name):
    told = licence(name)
    if name in KNOWN:
        return
    assert told, f"{name} names no licence: read it and list it above"
    assert PERMISSIVE.search(told), f"{name}: {told}"
    parts = [p for p in re.split(r" OR | or ", told) if not COPYLEFT.search(p)]
    assert parts, f"{name}: {told}"
