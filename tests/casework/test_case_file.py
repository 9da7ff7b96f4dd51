"""The case file's door: what it accepts, and the one line with the key path for what it does not."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest

from casework.case_file import CaseError, parsed_case, read_case
from mesh_tools.errors import BadFileError, MissingFileError

GOOD: dict[str, Any] = {
    "schema": 1,
    "case_id": "trial-1",
    "landmarks": {"occlusal_plane_mm": [[0, 0, 0], [10, 0, 0], [0, 10, 0]]},
    "pull": {"kind": "cervical", "right": {"force_n": 4.0}, "left": {"force_gf": 400}},
}


def changed(path: str, value: Any) -> dict[str, Any]:
    """The good case with the key at ``path`` set to ``value``."""
    case = copy.deepcopy(GOOD)
    part = case
    *parents, last = path.split(".")
    for key in parents:
        part = part.setdefault(key, {})
    part[last] = value
    return case


def test_a_minimal_case_gets_the_defaults():
    case = parsed_case(GOOD)
    assert case.choices.crest_below_cej_mm == 0.75
    assert case.bow.inner_diameter_mm == 1.143
    assert case.pull.right.newtons == 4.0


def test_gram_force_is_standard_gravity():
    # 1 gf = 9.80665e-3 N, exact (CGPM 1901); design.md: 1 N = 101.97 gf
    assert parsed_case(GOOD).pull.left.newtons == pytest.approx(400 * 9.80665e-3, rel=1e-15)
    assert pytest.approx(101.97, abs=0.005) == 1 / 9.80665e-3


BAD = [
    ("pull.right.force_n", -4.0, r"pull\.right\.force_n: must be greater than 0; got -4\.0\."),
    ("pull.right.force_n", float("nan"), r"pull\.right\.force_n: must be a finite number; got nan\."),
    ("pull.right.force_n", "4,0", r"pull\.right\.force_n: must be a valid number; got '4,0'\."),
    ("pull.right.force_n", True, r"pull\.right\.force_n: must be a valid number; got True\."),
    ("pull.right.forse_n", 4.0, r"pull\.right\.forse_n: unknown key; did you mean force_n\?"),
    ("pull.right.force_gf", 400.0, r"pull\.right: give the force once"),
    ("bow.inner_diametre_mm", 1.0, r"bow\.inner_diametre_mm: unknown key; did you mean inner_diameter_mm\?"),
    ("bow.zzz", 1.0, r"bow\.zzz: unknown key; known here: .*arm_length_mm"),
    (
        "pull.kind",
        "sideways",
        r"pull\.kind: must be 'cervical', 'high_pull' or 'combination'; got 'sideways'\.",
    ),
    ("landmarks.incisor_contact_mm", [1.0, 2.0], r"landmarks\.incisor_contact_mm: .*at least 3 items"),
    ("landmarks.occlusal_plane_mm", [[0, 0, 0]], r"landmarks\.occlusal_plane_mm: .*at least 3 items"),
    ("schema", 2, r"schema: must be 1; got 2\."),
    ("case_id", "<script>", r"case_id: .*pattern"),
    ("scans.right_molar", {"tooth": 16}, r"scans\.right_molar\.file: is missing"),
]


@pytest.mark.parametrize(("path", "value", "line"), BAD, ids=[b[0] + "=" + str(b[1])[:12] for b in BAD])
def test_a_bad_value_is_refused_with_its_key_path(path, value, line):
    with pytest.raises(CaseError, match=line) as caught:
        parsed_case(changed(path, value))
    assert all("\n" not in problem for problem in caught.value.problems)


def test_every_problem_is_told_at_once():
    case = changed("pull.right.force_n", -1.0)
    case["age_years"] = 300
    del case["pull"]["left"]
    with pytest.raises(CaseError) as caught:
        parsed_case(case)
    assert len(caught.value.problems) == 3


def test_combination_needs_a_second_strap_and_only_combination_has_one():
    with pytest.raises(CaseError, match=r'pull: right\.high belongs to kind = "combination"'):
        parsed_case(changed("pull.right.high", {"force_n": 2.0}))
    with pytest.raises(CaseError, match=r'pull: right\.high belongs to kind = "combination"'):
        parsed_case(changed("pull.kind", "combination"))


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path):
    path = tmp_path / "case.toml"
    path.write_text(
        '\ufeffschema = 1\ncase_id = "a"\n[landmarks]\n[pull.right]\nforce_n = 3\n[pull.left]\nforce_n = 3\n',
        "utf-8",
    )
    assert read_case(path).pull.left.newtons == 3.0


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"schema = ", "is not valid TOML"),
        (b"\xff\xfe", "is not UTF-8"),
        (b"a = [" * 20000, "is not valid TOML"),
    ],
    ids=["cut", "utf16", "deep"],
)
def test_a_file_that_is_no_case_is_refused(tmp_path: Path, content: bytes, line: str):
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    with pytest.raises(BadFileError, match=line):
        read_case(path)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path):
    with pytest.raises(MissingFileError, match="does not exist"):
        read_case(tmp_path / "none.toml")
    with pytest.raises(BadFileError, match="is a folder"):
        read_case(tmp_path)
