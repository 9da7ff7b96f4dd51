"""A short run of the coverage-guided fuzzers, and mutations of every door that need no extra library."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fuzz.doors import CASE_DOORS, MESH_DOORS, OracleBroken, _prove_lines, opened
from fuzz.seeds import seeds

ROOT = Path(__file__).parents[2]
RUNS = 3000
FRESH = ("/bin/sh", "-c", '"$@"; exit $?', "sh")
"""A small shell between: a process begins with its parent's greatest memory, and this one may have seen much."""
EXAMPLES = 40
ODD = (
    b"\0",
    b"\xff" * 4,
    b"-",
    b"nan",
    b"inf",
    b"1e999",
    b"9" * 30,
    b"\n",
    b"\x1b[2J",
    b" ",
    b"\xf0\x9f\xa6\xb7",
)


@st.composite
def mutations(draw: st.DrawFn, door: str) -> bytes:
    """A seed of ``door`` with a few pieces replaced, doubled or cut out."""
    data = draw(st.sampled_from(seeds(door)))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        length = draw(st.sampled_from((0, 1, 2, 4, 8, 40)))
        new = draw(
            st.one_of(st.sampled_from(ODD), st.binary(max_size=8), st.just(data[at : at + length] * 2))
        )
        data = data[:at] + new + data[at + length :]
    return data


@pytest.mark.parametrize("door", [*MESH_DOORS, *CASE_DOORS])
def test_mutated_files_are_refused_in_one_line_or_have_finite_numbers(door: str) -> None:
    with opened(door) as it:
        assert it.accepts(seeds(door)[0])  # and the libraries are imported
        accepted = []

        @settings(
            max_examples=EXAMPLES, deadline=None, database=None, derandomize=True,
            suppress_health_check=[HealthCheck.too_slow],
        )  # fmt: skip
        @given(mutations(door))
        def one(data: bytes) -> None:
            accepted.append(it.try_one(data))

        one()
        assert not all(accepted)  # else nothing was hostile
        assert len(accepted) >= EXAMPLES


@pytest.mark.parametrize("text", ["", "a\n\nb", "a\x1b[2J", "x" * 1000])
def test_the_oracle_can_fail(text: str) -> None:
    with pytest.raises(OracleBroken):
        _prove_lines(text)


@pytest.mark.slow
@pytest.mark.skipif(
    importlib.util.find_spec("atheris") is None, reason="atheris has no wheel for this system"
)
@pytest.mark.parametrize("door", [*MESH_DOORS, *CASE_DOORS])
def test_a_short_coverage_guided_run(door: str, tmp_path: Path) -> None:
    program = "fuzz_mesh.py" if door in MESH_DOORS else "fuzz_case.py"
    words = [
        *FRESH,
        sys.executable,
        str(ROOT / "fuzz" / program),
        "--door",
        door,
        f"-runs={RUNS}",
        "-rss_limit_mb=1024",
        "-seed=11",
    ]
    done = subprocess.run(words, check=False, cwd=tmp_path, capture_output=True, timeout=300, env=os.environ)
    told = done.stderr.decode("utf-8", "replace")
    assert done.returncode == 0, told[-3000:]
    assert f"Done {RUNS} runs" in told
