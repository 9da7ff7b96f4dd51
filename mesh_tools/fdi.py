"""Teeth by FDI number (ISO 3950): which jaw, side and kind, and what a number says about directions.

In LPS (+x the patient's left, +y back, +z up) the number alone fixes apical, buccal and, for posterior teeth,
distal: upper roots point up, lower roots down; buccal is +x on the left and -x on the right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from mesh_tools.errors import BadValueError

Kind = Literal["incisor", "canine", "premolar", "molar"]
_KINDS: dict[int, Kind] = {
    1: "incisor", 2: "incisor", 3: "canine", 4: "premolar", 5: "premolar", 6: "molar", 7: "molar", 8: "molar",
}  # fmt: skip


@dataclass(frozen=True)
class ToothNumber:
    """An FDI number of a permanent tooth, read apart."""

    fdi: int

    def __post_init__(self) -> None:
        if self.fdi // 10 not in (1, 2, 3, 4) or self.fdi % 10 not in _KINDS:
            raise BadValueError(
                f"tooth {self.fdi} is not a permanent tooth's FDI number (11-18, 21-28, 31-38, 41-48); "
                "an upper first molar is 16 (right) or 26 (left)."
            )

    @property
    def upper(self) -> bool:
        """True for a tooth of the upper jaw."""
        return self.fdi // 10 in (1, 2)

    @property
    def left(self) -> bool:
        """True on the patient's left."""
        return self.fdi // 10 in (2, 3)

    @property
    def kind(self) -> Kind:
        """Incisor, canine, premolar or molar."""
        return _KINDS[self.fdi % 10]

    @property
    def apical_sign(self) -> int:
        """Sign of z from crown to root: +1 upper, -1 lower."""
        return 1 if self.upper else -1

    @property
    def buccal_sign(self) -> int:
        """Sign of x from the tongue's side to the cheek's: +1 left, -1 right."""
        return 1 if self.left else -1

    @property
    def usual_roots(self) -> int:
        """Number of roots most often found: 3 upper molars, 2 lower molars and the upper first premolar, else 1.

        Source: common textbook anatomy (from memory).
        """
        if self.kind == "molar":
            return 3 if self.upper else 2
        return 2 if self.fdi % 10 == 4 and self.upper else 1
