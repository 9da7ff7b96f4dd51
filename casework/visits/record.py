"""What is noted at a visit."""

from __future__ import annotations

from datetime import date

from pydantic import BaseModel, ConfigDict, Field

from mechanics.sides import Side

_NOTE = 2000


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)


class SideVisit(_Strict):
    """One side. ``relation_mm``: how far the upper first molar stands in front of class I; 0 class I, above 0 class II,
    below 0 class III. ``offset_mm``: where the line of force was found from its target, positive apical of it.
    ``bend_deg``: the bend that was added at the visit, positive up.
    """

    relation_mm: float | None = Field(default=None, ge=-20.0, le=20.0)
    force_n: float | None = Field(default=None, ge=0.0, le=30.0)
    offset_mm: float | None = Field(default=None, ge=-60.0, le=60.0)
    bend_deg: float | None = Field(default=None, ge=-90.0, le=90.0)


class Visit(_Strict):
    """One visit. Hours are a day's; ``recorded_*`` come from a sensor in the bow's module and cover ``recorded_days``.

    ``release_checked``, ``retention_checked``: the self-releasing module and what keeps the bow in the tubes were
    checked; False when the check was made and failed or was left out, None when nothing was said.
    """

    day: date
    right: SideVisit = Field(default_factory=SideVisit)
    left: SideVisit = Field(default_factory=SideVisit)
    prescribed_hours: float | None = Field(default=None, gt=0.0, le=24.0)
    told_hours: float | None = Field(default=None, ge=0.0, le=24.0)
    recorded_hours: float | None = Field(default=None, ge=0.0, le=24.0)
    recorded_days: int | None = Field(default=None, ge=1)
    release_checked: bool | None = None
    retention_checked: bool | None = None
    bends: str = Field(default="", max_length=_NOTE)
    notes: str = Field(default="", max_length=_NOTE)

    def side(self, side: Side) -> SideVisit:
        """What was noted of ``side``."""
        return self.right if side == "right" else self.left
