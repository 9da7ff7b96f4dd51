"""Tasks for the tests of jobs, in a module that a child imports fast."""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import MappingProxyType
from typing import Any

from casework.writing import filled_folder
from mesh_tools.errors import BadValueError


def doubled(number: int, *, progress: Any) -> Any:
    progress("one")
    progress("two")
    return MappingProxyType({"twice": 2 * number})


def refusing(*, progress: Any) -> None:
    raise BadValueError("the tooth is upside down; turn it.")


def failing(*, progress: Any) -> None:
    raise KeyError("lost")


def sleeping(*, progress: Any) -> None:
    progress("asleep")
    time.sleep(600.0)


def deaf(*, progress: Any) -> None:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    progress("deaf")
    time.sleep(600.0)


def with_child(*, progress: Any) -> None:
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
    progress(str(child.pid))
    time.sleep(600.0)


def half_written(out: Path, *, progress: Any) -> None:
    with filled_folder(out) as scratch:
        (scratch / "half.json").write_text("{")
        progress("half")
        signal.signal(signal.SIGTERM, signal.SIG_IGN)  # so that it can only be killed
        time.sleep(600.0)


def shot(*, progress: Any) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def crashing(*, progress: Any) -> None:
    ctypes.string_at(0)


def not_to_be_sent(*, progress: Any) -> Any:
    return lambda: 1
