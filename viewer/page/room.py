"""One case open on this machine, shared by every tab: its draft, what was read and made from it, saved as it changes.

No web code: a tab gives itself as a listener and is told what happened. Slow work is done by the caller's threads.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from casework.centre import CentreReport
from casework.desk.bench import Workbench, workbench
from casework.desk.draft import ChangedOnDiskError, Draft, opened, problems, redone, saved, undone
from casework.desk.handles import Handles
from casework.desk.jobs import Job
from casework.desk.readings import Readings, readings
from casework.desk.shelf import Shelf
from casework.frame import treatment_rotation
from mechanics.sides import Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BowtrueError

Change = Callable[[Draft], Draft]
Listener = Callable[["Room", object], None]


@dataclass(frozen=True, eq=False)
class Made:
    """What was made from one draft: the scans, what is missing for a plan, and the bench or its refusal."""

    draft: Draft
    readings: Readings
    problems: tuple[str, ...]
    bench: Workbench | None
    refused: str
    turn: Array

    @property
    def ready(self) -> bool:
        """Whether the bow can be bent."""
        return self.bench is not None


@dataclass(eq=False)
class Room:
    """The open case. ``draft`` is replaced, never changed; ``trouble`` is the line why the last save failed.

    ``handles``: as some tab left them last, for a tab that is loaded again. ``job``: papers being made;
    ``elements_job``: finite elements being solved. ``measured``: what was typed for the check, as the tables of a
    readings file.
    """

    draft: Draft
    shelf: Shelf = field(default_factory=Shelf)
    trouble: str = ""
    taken_over: bool = False
    listeners: list[Listener] = field(default_factory=list)
    made: Made | None = None
    handles: Handles | None = None
    job: Job[tuple[str, ...]] | None = None
    elements_job: Job[dict[Side, CentreReport]] | None = None
    measured: dict[str, dict[str, Any]] = field(default_factory=dict)
    _making: threading.Lock = field(default_factory=threading.Lock)

    @property
    def folder(self) -> Path:
        """The case's folder: nothing outside it is read or written."""
        return self.draft.folder

    def change(self, change: Change, *, by: object = None) -> Draft:
        """Apply ``change``, save, and tell every listener; raises the BowtrueError of a change that is refused."""
        return self._take(change(self.draft), by)

    def undo(self, *, by: object = None) -> Draft:
        """Take the last change back."""
        return self._take(undone(self.draft), by)

    def redo(self, *, by: object = None) -> Draft:
        """Make the last undone change again."""
        return self._take(redone(self.draft), by)

    def save(self) -> None:
        """Write the draft; ``trouble`` tells why it could not be. Work in memory is kept either way."""
        try:
            self.draft = saved(self.draft)
            self.trouble, self.taken_over = "", False
        except ChangedOnDiskError as err:
            self.trouble, self.taken_over = str(err), True
        except BowtrueError as err:
            self.trouble = str(err)

    def reread(self, *, by: object = None) -> None:
        """Take the file as it is on disk now; what was not saved goes. Raises BowtrueError."""
        self.draft = opened(self.draft.file)
        self.trouble, self.taken_over = "", False
        self._tell(by)

    def make(self) -> Made:
        """Scans, problems and bench of the draft as it is now; slow, call it in a thread. Never raises BowtrueError."""
        with self._making:
            draft = self.draft
            if self.made is None or self.made.draft.values != draft.values:
                self.made = made_of(draft, self.shelf)
            return self.made

    def _take(self, draft: Draft, by: object) -> Draft:
        if draft is not self.draft:
            self.draft = draft
            self.save()
            self._tell(by)
        return self.draft

    def _tell(self, by: object) -> None:
        for listener in tuple(self.listeners):
            listener(self, by)


def made_of(draft: Draft, shelf: Shelf) -> Made:
    """Everything that can be made of ``draft`` now."""
    read, missing = readings(draft, shelf), problems(draft)
    bench, refused = None, ""
    if not missing and not read.refused:
        try:
            bench = workbench(draft, shelf=shelf, samples=None)
        except BowtrueError as err:
            refused = str(err)
    turn = bench.rotation if bench is not None else turn_of(draft)
    return Made(draft, read, missing, bench, refused, turn)


def turn_of(draft: Draft) -> Array:
    """Rotation (3, 3) from LPS to the treatment frame, or none as long as the occlusal plane is not known."""
    points = draft.value("landmarks.occlusal_plane_mm")
    try:
        return (
            treatment_rotation(np.asarray(points, dtype=np.float64).reshape(-1, 3)) if points else np.eye(3)
        )
    except (BowtrueError, ValueError, np.linalg.LinAlgError):
        return np.eye(3)
