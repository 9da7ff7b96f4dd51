"""One thread for many small dense products: waiting threads cost more than they help, much more on a busy machine."""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any

import numpy
import scipy

_NAMES = ("scipy_openblas_{}_num_threads", "scipy_openblas_{}_num_threads64_", "openblas_{}_num_threads")


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Run the block with numpy's and scipy's BLAS on one thread each, where it is an OpenBLAS that can be told so."""
    before = [(write, int(read())) for read, write in _controls()]
    for write, _ in before:
        write(1)
    try:
        yield
    finally:
        for write, count in before:
            write(count)


@cache
def _controls() -> tuple[tuple[Any, Any], ...]:
    """Functions that read and set the threads of each OpenBLAS inside the wheels; none for another BLAS."""
    found = []
    for package in (numpy, scipy):
        home = Path(str(package.__file__)).parent
        for library in [*home.parent.glob(f"{home.name}.libs/*openblas*"), *home.glob(".dylibs/*openblas*")]:
            found += _control(library)
    return tuple(found)


def _control(library: Path) -> list[tuple[Any, Any]]:
    """The pair of functions of one library that is loaded already, if it has them."""
    with suppress(OSError):
        loaded = ctypes.CDLL(str(library))
        for name in _NAMES:
            with suppress(AttributeError):
                return [(getattr(loaded, name.format("get")), getattr(loaded, name.format("set")))]
    return []
