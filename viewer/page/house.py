"""What one run of the page keeps: the folder it may touch, the open case, the blobs, and who is told of a new case."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from casework.desk.draft import CASE_FILE, opened, started
from casework.desk.folder import inside
from mesh_tools.errors import BadValueError
from viewer.page.blobs import Blobs
from viewer.page.room import Room

DEMO_FOLDER = "bowtrue-demo-case"
_MOST_CASES = 200


@dataclass(eq=False)
class House:
    """``root``: the folder given on the command line; cases lie in it or one folder below. ``room``: the open case."""

    root: Path
    room: Room | None = None
    blobs: Blobs = field(default_factory=Blobs)
    moved: list[Callable[[], None]] = field(default_factory=list)
    fixed: bool = False

    def cases(self) -> list[str]:
        """Case files in the folder and one below, as names from ``root``."""
        found = [*self.root.glob(CASE_FILE), *sorted(self.root.glob(f"*/{CASE_FILE}"))]
        plain = [p for p in found if not p.is_symlink() and not p.parent.is_symlink()]
        return [p.relative_to(self.root).as_posix() for p in plain[:_MOST_CASES]]

    def open(self, name: str) -> Room:
        """Open the case file ``name`` of the folder; raises BowtrueError."""
        return self._take(Room(opened(inside(self.root, name))))

    def open_file(self, path: Path) -> Room:
        """Open the case file given on the command line; only its own folder is touched from then on."""
        self.root, self.fixed = path.absolute().parent, True
        return self._take(Room(opened(path)))

    def start(self, case_id: str) -> Room:
        """A new case in a folder of its own name; raises BowtrueError for a name that is refused."""
        plain = case_id.strip()
        if not plain or plain.startswith(".") or "/" in plain or "\\" in plain:
            raise BadValueError(
                f"a case name must be letters, digits, spaces, dots, dashes; got {case_id!r}."
            )
        room = Room(started(inside(self.root, plain), plain))
        room.save()
        return self._take(room)

    def open_demo(self) -> Room:
        """The invented case, copied into the folder so that it may be changed; an earlier copy is opened again."""
        import shutil

        import demo_meshes

        folder = inside(self.root, DEMO_FOLDER)
        folder.mkdir(exist_ok=True)
        source = Path(demo_meshes.__file__).parent
        for path in (*source.glob("*.stl"), source / CASE_FILE):
            if not (folder / path.name).exists():
                shutil.copyfile(path, folder / path.name)
        return self.open(f"{DEMO_FOLDER}/{CASE_FILE}")

    def close(self) -> None:
        """Back to the choice of a case."""
        self._take(None)

    def _take(self, room: Room | None) -> Room:
        self.room = room
        for told in tuple(self.moved):
            told()
        return room  # type: ignore[return-value]
