"""Force against extension of one module: the user's own table, or a spring rate.

No maker's numbers stand here: none were found that could be cited, and modules of one name differ. The table is what
the user measured with a gauge and a ruler.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError

_LEAST_ROWS = 2


@dataclass(frozen=True, eq=False)
class ForceCurve:
    """Force ``force_n`` (n,) at ``extension_mm`` (n,), straight between rows, zero when slack.

    Rows rise in both; the first is 0 mm, 0 N (put in front when the table begins later). ``release_mm`` and
    ``release_n``: extension or force at which the module lets go, when the user knows it. Raises BadValueError.
    """

    extension_mm: Array
    force_n: Array
    release_mm: float | None = None
    release_n: float | None = None

    def __post_init__(self) -> None:
        extension = frozen(self.extension_mm, (None,), name="module extension")
        force = frozen(self.force_n, (len(extension),), name="module force")
        if len(extension) and extension[0] > 0.0:
            extension, force = np.r_[0.0, extension], np.r_[0.0, force]
        _check_rows(extension, force)
        object.__setattr__(self, "extension_mm", frozen(extension, (None,), name="module extension"))
        object.__setattr__(self, "force_n", frozen(force, (None,), name="module force"))
        for name, value in (("extension", self.release_mm), ("force", self.release_n)):
            if value is not None and not (np.isfinite(value) and value > 0.0):
                raise BadValueError(f"module release {name} must be above zero; got {value}.")

    @classmethod
    def spring(
        cls, rate_n_per_mm: float, *, longest_mm: float,
        release_mm: float | None = None, release_n: float | None = None,
    ) -> ForceCurve:  # fmt: skip
        """A straight line of ``rate_n_per_mm`` up to ``longest_mm``. Raises BadValueError unless both are positive."""
        for name, value in (("rate", rate_n_per_mm), ("longest extension", longest_mm)):
            if not (np.isfinite(value) and value > 0.0):
                raise BadValueError(f"module {name} must be above zero; got {value}.")
        rows = np.array([0.0, longest_mm])
        return cls(rows, rate_n_per_mm * rows, release_mm, release_n)

    @property
    def longest_mm(self) -> float:
        """The last row's extension."""
        return float(self.extension_mm[-1])

    @property
    def most_n(self) -> float:
        """The last row's force."""
        return float(self.force_n[-1])

    def force_at(self, extension_mm: ArrayLike) -> Array:
        """Force (...) at extensions (...). Beyond the last row the last slope goes on, so that a search can pass
        through; ``beyond`` tells such a number from one of the table."""
        e = np.asarray(extension_mm, dtype=np.float64)
        over = np.maximum(e - self.longest_mm, 0.0)
        return np.asarray(np.interp(e, self.extension_mm, self.force_n) + self._slopes[-1] * over)

    def extension_at(self, force_n: ArrayLike) -> Array:
        """Extension (...) at forces (...) of zero or more: the inverse of ``force_at``."""
        f = np.asarray(force_n, dtype=np.float64)
        over = np.maximum(f - self.most_n, 0.0)
        return np.asarray(np.interp(f, self.force_n, self.extension_mm) + over / self._slopes[-1])

    def rate_at(self, extension_mm: float) -> float:
        """Slope in N/mm at ``extension_mm``; zero when slack."""
        if extension_mm < 0.0:
            return 0.0
        k = int(np.searchsorted(self.extension_mm, extension_mm, side="right")) - 1
        return float(self._slopes[min(k, len(self._slopes) - 1)])

    def beyond(self, extension_mm: float) -> bool:
        """Whether ``extension_mm`` lies past the last row: no force is known there."""
        return extension_mm > self.longest_mm + 1e-9

    def releases(self, extension_mm: float) -> bool:
        """Whether the module has let go at ``extension_mm``, as far as the user said where it does."""
        by_length = self.release_mm is not None and extension_mm >= self.release_mm
        return by_length or (
            self.release_n is not None and float(self.force_at(extension_mm)) >= self.release_n
        )

    @property
    def _slopes(self) -> Array:
        return np.asarray(np.diff(self.force_n) / np.diff(self.extension_mm))


def _check_rows(extension: Array, force: Array) -> None:
    if len(extension) < _LEAST_ROWS:
        raise BadValueError("a module's table needs two rows or more of extension and force.")
    if extension[0] != 0.0 or force[0] != 0.0:
        raise BadValueError(
            f"a module's table begins with 0 mm, 0 N; got {extension[0]:g} mm, {force[0]:g} N: write a pretension as a "
            "steep first row."
        )
    for k in range(1, len(extension)):
        if extension[k] <= extension[k - 1] or force[k] <= force[k - 1]:
            raise BadValueError(
                f"a module's force rises with its extension; row {k + 1} ({extension[k]:g} mm, {force[k]:g} N) does "
                f"not lie above the row before ({extension[k - 1]:g} mm, {force[k - 1]:g} N): check the table."
            )
