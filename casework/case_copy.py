"""The case as a plan used it, written beside the plan so that ``bowtrue plan`` on it gives the same numbers again."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

import tomli_w

from casework.case_file import CaseModel

COPY_NAME, SECOND_NAME = "case-used.toml", "case-used-2.toml"
_HEAD = (
    "# The case as this plan used it: what was given, what was chosen on the command line, and every default.\n"
    "# bowtrue plan {name} --out FOLDER gives the same numbers again, as long as the scans below are unchanged.\n\n"
)
_INNERMOST = re.compile(r"\[\n([-+.,\s\w\"]+?)\]")  # an array of numbers or plain words over several lines


@dataclass(frozen=True)
class CaseUsed:
    """The case a plan was made from: ``folder`` is where its scan paths start, ``file`` its case file, if any."""

    case: CaseModel
    folder: Path
    file: Path | None = None


def case_copy_text(used: CaseUsed, out: Path, *, name: str = COPY_NAME) -> str:
    """TOML of the whole case, defaults and all, with scan paths that start at ``out``.

    On another drive than ``out`` a scan keeps its absolute path. Floats are written so that they read back equal.
    """
    values = used.case.model_dump(by_alias=True, exclude_none=True)
    for scan in values["scans"].values():
        scan["file"] = path_from(used.folder / scan["file"], out)
    return _HEAD.format(name=name) + _INNERMOST.sub(_on_one_line, tomli_w.dumps(values))


def path_from(target: Path, folder: Path) -> str:
    """The path of ``target`` as seen from ``folder``, with forward slashes; absolute when on another drive."""
    real = target.resolve()
    try:
        return Path(os.path.relpath(real, folder.resolve())).as_posix()
    except ValueError:  # Windows: no way leads from one drive to another
        return real.as_posix()


def copy_name(used: CaseUsed, out: Path) -> str:
    """The copy's name in ``out``; another one when the plan was made from the file of that name, which stays."""
    target = out / COPY_NAME
    own = used.file is not None and target.exists() and target.samefile(used.file)
    return SECOND_NAME if own else COPY_NAME


def write_case_copy(used: CaseUsed, folder: Path, out: Path) -> str:
    """Write the copy into ``folder``, whose files go to ``out`` later; returns its name."""
    name = copy_name(used, out)
    (folder / name).write_text(case_copy_text(used, out, name=name), "utf-8")
    return name


def _on_one_line(found: re.Match[str]) -> str:
    return f"[{' '.join(found[1].split()).rstrip(',')}]"
