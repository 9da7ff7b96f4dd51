"""What a study asks of every tooth, and the key that tells one study's answers from another's."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from importlib.metadata import version

from casework.question import FAST_METHODS, METHODS
from mesh_tools.errors import BadValueError


@dataclass(frozen=True)
class StudySettings:
    """The same questions for every tooth. ``samples``: draws for the band of the elastic foundation, 0 for none.

    A tooth's own crest level in the table comes before ``crest_below_cej_mm``. Raises BadValueError for an unknown
    method, no method, or a negative count.
    """

    methods: tuple[str, ...] = FAST_METHODS
    samples: int = 0
    seed: int = 0
    crest_below_cej_mm: float = 0.75
    e_mpa: float = 0.68
    nu: float = 0.45
    thickness_mm: float = 0.2

    def __post_init__(self) -> None:
        unknown = sorted(set(self.methods) - set(METHODS))
        if unknown or not self.methods:
            raise BadValueError(
                f"study methods must be some of {', '.join(METHODS)}; got {', '.join(unknown) or 'none'}."
            )
        if self.samples < 0 or self.seed < 0:
            raise BadValueError(f"samples and seed must be zero or more; got {self.samples} and {self.seed}.")

    @property
    def key(self) -> str:
        """Changes with every setting that changes a number, and with the program's version."""
        text = json.dumps([asdict(self), version("bowtrue")], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()
