"""What both programs share: a corpus of seeds, the instrumented readers, the run, and its figures."""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

INSTRUMENTED = ("mesh_tools", "casework", "trimesh.exchange.ply", "meshio")
_EVERY = 10_000


def run(doors: Sequence[str]) -> None:
    """Fuzz the door that ``--door`` names (the first of ``doors`` without it) until libFuzzer's limits are reached."""
    import atheris

    name, options = _door(doors)
    with tempfile.TemporaryDirectory() as corpus, atheris.instrument_imports(include=list(INSTRUMENTED)):
        from fuzz.doors import opened
        from fuzz.seeds import seeds

        with opened(name) as door:
            for number, seed in enumerate(seeds(name)):
                (Path(corpus) / f"seed-{number}").write_bytes(seed)
                door.accepts(seed)  # the readers are imported, and instrumented, when they are first used
            start = time.monotonic()

            def one(data: bytes) -> None:
                door.try_one(data)
                if door.tally.inputs % _EVERY == 0:
                    t, spent = door.tally, time.monotonic() - start
                    sys.stderr.write(
                        f"{name}: {t.inputs} inputs, {t.accepted} accepted, slowest {t.slowest_s * 1000:.0f} ms of "
                        f"processor, {spent:.0f} s in all, at most {_memory_mb():.0f} MB\n"
                    )  # fmt: skip

            atheris.Setup([sys.argv[0], *options, corpus], one)
            atheris.Fuzz()


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _door(doors: Sequence[str]) -> tuple[str, list[str]]:
    words = sys.argv[1:]
    name = doors[0]
    if "--door" in words:
        at = words.index("--door")
        name = (words[at + 1 : at + 2] or [""])[0]
        words = words[:at] + words[at + 2 :]
    if name not in doors:
        raise SystemExit(f"--door must be one of {', '.join(doors)}; got {name!r}.")
    return name, words
