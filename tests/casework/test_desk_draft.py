"""Drafts: any sequence of edits can be taken back; a saved case is whole; nobody's work is overwritten."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import textwrap
import time
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casework.case_file import CaseError, read_case
from casework.desk.draft import (
    CASE_FILE,
    MOST_STEPS,
    ORIGINAL,
    ChangedOnDiskError,
    Draft,
    EditError,
    case_of,
    changed_on_disk,
    opened,
    problems,
    redone,
    saved,
    started,
    undone,
    with_landmark,
    with_scan,
    with_value,
    without_landmark,
    without_scan,
    without_value,
)
from casework.desk.folder import FolderBusyError, held
from demo_meshes import demo_folder
from mesh_tools.errors import BadFileError, MissingFileError

REPO = Path(__file__).parents[2]


@pytest.fixture
def demo(tmp_path: Path) -> Draft:
    """The demo case in a folder of its own."""
    for file in (*demo_folder().glob("*.stl"), demo_folder() / CASE_FILE):
        shutil.copy(file, tmp_path)
    return opened(tmp_path / CASE_FILE)


# Edits ------------------------------------------------------------------------------------------------------

number = st.floats(-90.0, 90.0, allow_nan=False)
point = st.tuples(number, number, number)
edits = st.one_of(
    st.tuples(st.just(with_landmark), st.sampled_from(["incisor_contact_mm", "strap_left_mm"]), point),
    st.tuples(st.just(with_value), st.just("pull.right.force_n"), st.floats(0.1, 29.0)),
    st.tuples(st.just(with_value), st.just("choices.target"), st.sampled_from(["furcation", "thin_layer"])),
    st.tuples(st.just(without_landmark), st.sampled_from(["incisor_contact_mm", "strap_left_mm"])),
    st.tuples(st.just(without_value), st.sampled_from(["bow", "bow.e_gpa", "nothing.here"])),
    st.tuples(st.just(with_landmark), st.just("occlusal_plane_mm"), point),
)


@given(st.lists(edits, max_size=25))
@settings(max_examples=60, deadline=None)
def test_any_edits_are_taken_back_and_made_again(chosen: list[Any]):
    start = opened(demo_folder() / CASE_FILE)
    draft = start
    for change, *given_ in chosen:
        draft = change(draft, *given_)
    end = draft
    for _ in end.past:
        draft = undone(draft)
    assert draft.values == start.values
    assert undone(draft) is draft
    for _ in end.past:
        draft = redone(draft)
    assert draft.values == end.values
    assert redone(draft) is draft


@given(st.lists(edits, max_size=10))
@settings(max_examples=30, deadline=None)
def test_an_edit_never_changes_the_draft_it_started_from(chosen: list[Any]):
    start = opened(demo_folder() / CASE_FILE)
    before = tomllib.loads((demo_folder() / CASE_FILE).read_text("utf-8"))
    draft = start
    for change, *given_ in chosen:
        draft = change(draft, *given_)
    assert start.values == before


def test_an_edit_after_undo_drops_what_was_undone(demo: Draft):
    once = with_value(demo, "bow.arm_length_mm", 90.0)
    other = with_value(undone(once), "bow.arm_length_mm", 95.0)
    assert other.future == ()
    assert undone(other).values == demo.values


def test_a_drag_is_one_step(demo: Draft):
    draft = with_landmark(demo, "strap_left_mm", (40, 100, -10))
    for z in range(20):
        draft = with_landmark(draft, "strap_left_mm", (40, 100, -10 - z), same_step=True)
    assert draft.value("landmarks.strap_left_mm") == [40.0, 100.0, -29.0]
    assert undone(draft).values == demo.values


def test_history_is_bounded(demo: Draft):
    draft = demo
    for k in range(MOST_STEPS + 30):
        draft = with_value(draft, "pull.left.force_n", 1.0 + 0.01 * k)
    assert len(draft.past) == MOST_STEPS


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("pull.right.force_n", float("nan"), r"pull.right.force_n: must be a finite number; got nan"),
        ("pull.right.force_n", "four", r"pull.right.force_n: must be a valid number; got 'four'"),
        ("pull.right.force_n", -1.0, r"pull.right.force_n: must be greater than 0; got -1"),
        ("bow.arm_lenght_mm", 90.0, r"bow.arm_lenght_mm: unknown key; did you mean arm_length_mm"),
        ("choices.target", "guess", r"choices.target: must be 'elastic_foundation'"),
        ("choices", object(), r"choices: must be text, a number, a list or a table; got object"),
        ("case_id", "../x", r"case_id: String should match pattern"),
        ("case_id.deeper", 1, r"case_id.deeper: leads into a value that is no table"),
        ("", 1, r"key path '' must name a key"),
        (("landmarks", "occlusal_plane_mm", 9), [1.0, 2.0, 3.0], r"has 4 items; got number 9"),
    ],
)
def test_what_no_case_may_hold_is_refused_in_one_line(demo: Draft, path: Any, value: Any, told: str):
    with pytest.raises(EditError, match=told) as caught:
        with_value(demo, path, value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("bad", [(1, 2), (1, 2, float("inf")), "here", (1, 2, 3, 4), None])
def test_a_landmark_is_three_finite_numbers(demo: Draft, bad: Any):
    with pytest.raises(EditError, match=r"landmarks.incisor_contact_mm: must be three"):
        with_landmark(demo, "incisor_contact_mm", bad)


def test_an_unknown_landmark_is_refused_with_the_nearest(demo: Draft):
    with pytest.raises(EditError, match="did you mean strap_left_mm"):
        with_landmark(demo, "strap_lefft_mm", (1, 2, 3))


def test_points_of_the_occlusal_plane_come_one_by_one(tmp_path: Path):
    draft = started(tmp_path, "crane")
    for k in range(3):
        draft = with_landmark(draft, "occlusal_plane_mm", (k, k * k, 0))
    draft = with_landmark(draft, "occlusal_plane_mm", (5, 5, 1), index=1)
    assert draft.value("landmarks.occlusal_plane_mm") == [[0.0, 0.0, 0.0], [5.0, 5.0, 1.0], [2.0, 4.0, 0.0]]
    draft = without_landmark(draft, "occlusal_plane_mm", index=0)
    assert any("occlusal_plane_mm" in line for line in problems(draft))
    with pytest.raises(EditError, match="has 2 points; got number 7"):
        with_landmark(draft, "occlusal_plane_mm", (1, 1, 1), index=7)
    with pytest.raises(EditError, match="is one point"):
        with_landmark(draft, "incisor_contact_mm", (1, 1, 1), index=0)


def test_a_landmark_of_a_scan(demo: Draft):
    draft = with_landmark(demo, "right_molar.trifurcation", np.array([1.0, 2.0, 3.0004]))
    assert draft.value("scans.right_molar.landmarks.trifurcation") == [1.0, 2.0, 3.0]
    assert problems(draft) == ()


# Incomplete drafts -------------------------------------------------------------------------------------------


def test_a_whole_case_has_no_problems(demo: Draft):
    assert problems(demo) == ()
    assert case_of(demo) == read_case(demo.file)


def test_a_started_case_tells_what_is_missing_and_is_saved_all_the_same(tmp_path: Path):
    draft = started(tmp_path / "new", "crane 1")
    told = problems(draft)
    assert any(line.startswith("pull: is missing") for line in told)
    assert sum("a plan needs it" in line for line in told) == 8
    with pytest.raises(CaseError, match="pull: is missing"):
        case_of(draft)
    again = opened(saved(draft).file)
    assert again.values == draft.values
    assert problems(again) == told


def test_a_case_is_built_up_from_nothing(demo: Draft):
    whole = demo.values
    draft = Draft(demo.folder, {"schema": 1, "case_id": "demo-heron"})
    for name, value in whole["landmarks"].items():
        for k, one in enumerate(value if name == "occlusal_plane_mm" else [value]):
            draft = with_landmark(draft, name, one, index=k if name == "occlusal_plane_mm" else None)
    for name, scan in whole["scans"].items():
        draft = with_scan(draft, name, scan["file"], tooth=scan.get("tooth"), axes=scan["axes"], unit="mm")
    for key in ("age_years", "bow", "pull", "choices"):
        draft = with_value(draft, key, whole[key])
    assert problems(draft) == ()
    assert case_of(draft) == case_of(demo)


def test_a_folder_with_a_case_is_not_started_again(demo: Draft):
    with pytest.raises(BadFileError, match=r"has a case\.toml already; open it"):
        started(demo.folder, "crane")


def test_a_bad_case_id_is_refused(tmp_path: Path):
    with pytest.raises(EditError, match="case_id: "):
        started(tmp_path, "")


def test_a_scan_must_be_in_the_folder(demo: Draft):
    with pytest.raises(EditError, match=r"scans.arch: '../arch.stl' must lie in the case's folder"):
        with_scan(demo, "arch", "../arch.stl")
    with pytest.raises(
        EditError, match=r"scans.arch.file: 'none.stl' is not in the case's folder; upload it"
    ):
        with_scan(demo, "arch", "none.stl")
    with pytest.raises(EditError, match=r"scans.chin: is not a scan of a case; known are right_molar"):
        with_scan(demo, "chin", "arch.stl")
    with pytest.raises(EditError, match=r"scans.arch: axes code must have one letter"):
        with_scan(demo, "arch", "arch.stl", axes="XYZ")


def test_another_file_loses_the_landmarks_of_the_old_one(demo: Draft):
    marked = with_landmark(demo, "right_molar.trifurcation", (1, 2, 3))
    same = with_scan(marked, "right_molar", "molar_16.stl", tooth=16, axes="LPS")
    other = with_scan(marked, "right_molar", "molar_26.stl", tooth=16)
    assert same.value("scans.right_molar.landmarks") == {"trifurcation": [1.0, 2.0, 3.0]}
    assert other.value("scans.right_molar.landmarks") is None


def test_problems_name_scans_that_are_gone_or_lead_out(demo: Draft):
    (demo.folder / "arch.stl").unlink()
    (demo.folder / "face.stl").unlink()
    (demo.folder / "face.stl").symlink_to(demo_folder() / "face.stl")
    told = "\n".join(problems(demo))
    assert "scans.arch.file: 'arch.stl' is not in the case's folder; upload it." in told
    assert "scans.face.file: 'face.stl' must lie in the case's folder, but a link leads out of it" in told
    assert problems(without_scan(without_scan(demo, "arch"), "face")) == ()


# Saving ------------------------------------------------------------------------------------------------------


def test_what_is_saved_is_what_is_opened(demo: Draft):
    draft = saved(with_landmark(demo, "strap_left_mm", (41.1115, 103.0, -13.0)))
    assert not draft.unsaved
    assert not changed_on_disk(draft)
    assert opened(draft.file).values == draft.values
    assert case_of(draft) == read_case(draft.file)
    assert undone(draft).unsaved


def test_the_original_is_kept_once_with_its_comments(demo: Draft):
    before = demo.file.read_bytes()
    first = saved(with_value(demo, "age_years", 11.0))
    assert (demo.folder / ORIGINAL).read_bytes() == before
    assert first.notes == (
        f"case.toml is written anew without its comments; it is kept as it was in {ORIGINAL}.",
    )
    second = saved(with_value(first, "age_years", 12.0))
    assert second.notes == ()
    assert (demo.folder / ORIGINAL).read_bytes() == before


def test_a_case_we_wrote_is_not_kept_as_an_original(tmp_path: Path):
    draft = saved(started(tmp_path, "crane"))
    saved(with_value(draft, "age_years", 9.5))
    assert not (tmp_path / ORIGINAL).exists()


def test_a_case_changed_by_another_program_is_not_overwritten(demo: Draft):
    theirs = demo.file.read_text("utf-8") + "\n# a note\n"
    demo.file.write_text(theirs, "utf-8")
    assert changed_on_disk(demo)
    with pytest.raises(
        ChangedOnDiskError, match="was changed by another program since it was opened; nothing"
    ):
        saved(with_value(demo, "age_years", 11.0))
    assert demo.file.read_text("utf-8") == theirs


def test_a_case_that_was_removed_or_has_appeared_is_told(demo: Draft, tmp_path: Path):
    demo.file.unlink()
    with pytest.raises(ChangedOnDiskError, match="was removed"):
        saved(demo)
    first, second = started(tmp_path / "two", "a"), started(tmp_path / "two", "b")
    saved(first)
    with pytest.raises(ChangedOnDiskError, match="was changed by another program"):
        saved(second)
    assert opened(first.file).value("case_id") == "a"


def test_of_two_writers_the_second_is_told(demo: Draft):
    one, two = opened(demo.file), opened(demo.file)
    saved(with_value(one, "age_years", 9.0))
    with pytest.raises(ChangedOnDiskError):
        saved(with_value(two, "age_years", 10.0))
    assert opened(demo.file).value("age_years") == 9.0


def test_a_folder_that_is_held_is_waited_for_and_then_told(demo: Draft):
    with (
        held(demo.folder),
        pytest.raises(FolderBusyError, match="another program has been writing here"),
        held(demo.folder, seconds=0.1),
    ):
        pass
    with held(demo.folder):
        pass


def test_opening_refuses_in_one_line(tmp_path: Path):
    with pytest.raises(MissingFileError, match=r"does not exist; give the path of a case\.toml"):
        opened(tmp_path / CASE_FILE)
    (tmp_path / CASE_FILE).write_text("schema = ", "utf-8")
    with pytest.raises(BadFileError, match="is not valid TOML"):
        opened(tmp_path / CASE_FILE)
    (tmp_path / "link.toml").symlink_to(tmp_path / CASE_FILE)
    with pytest.raises(BadFileError, match="is a link; open the file"):
        opened(tmp_path / "link.toml")


def test_a_full_disk_is_told(demo: Draft, monkeypatch: pytest.MonkeyPatch):
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("casework.desk.folder.os.fsync", full)
    before = demo.file.read_bytes()
    with pytest.raises(BadFileError, match="cannot be written \\(No space left on device\\); free the disk"):
        saved(with_value(demo, "age_years", 9.0))
    assert demo.file.read_bytes() == before
    assert not list(demo.folder.glob("*.part"))
    assert not list(demo.folder.glob(".*.part"))


WRITER = """
    import sys
    from casework.desk.draft import opened, saved, with_value
    draft = opened(sys.argv[1])
    print("ready", flush=True)
    k = 0
    while True:
        k += 1
        draft = saved(with_value(draft, "age_years", 3.0 + (k % 900) / 10))
"""


@pytest.mark.slow
def test_a_writer_killed_at_any_moment_leaves_a_whole_case(tmp_path: Path):
    # kill -9 while saves follow one another without pause: the file is always one of the whole ones.
    shutil.copy(demo_folder() / CASE_FILE, tmp_path)
    start = opened(tmp_path / CASE_FILE)
    rng = np.random.default_rng(5)
    for _ in range(6):
        command = [sys.executable, "-c", textwrap.dedent(WRITER), str(tmp_path / CASE_FILE)]
        child = subprocess.Popen(command, cwd=REPO, stdout=subprocess.PIPE)
        assert child.stdout is not None
        assert child.stdout.readline() == b"ready\n"
        time.sleep(float(rng.uniform(0.02, 0.2)))
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()
        left = opened(tmp_path / CASE_FILE)  # whole TOML, and a whole case
        assert {**left.values, "age_years": 0} == {**start.values, "age_years": 0}
        done = saved(with_value(left, "age_years", 50.0))  # the dead writer's lock is gone
        assert opened(done.file).value("age_years") == 50.0
        assert not list(tmp_path.glob(".*.part"))


DYING = """
    import os, sys
    from casework.desk.draft import opened, saved, with_value
    case, call, when = sys.argv[1:]
    draft = with_value(opened(case), "age_years", 50.0)
    real = getattr(os, call)
    def last(*given):
        if when == "after":
            real(*given)
        os.kill(os.getpid(), 9)
    setattr(os, call, last)
    saved(draft)
"""


@pytest.mark.parametrize(
    ("call", "when", "age"),
    [
        ("fdopen", "before", 10.5),
        ("fsync", "before", 10.5),
        ("replace", "before", 10.5),
        ("replace", "after", 50.0),
    ],
)
def test_death_at_each_step_of_a_save_leaves_the_old_case_or_the_new(
    tmp_path: Path, call: str, when: str, age: float
):
    shutil.copy(demo_folder() / CASE_FILE, tmp_path)
    shutil.copy(demo_folder() / CASE_FILE, tmp_path / ORIGINAL)  # else its keeping would be the first step
    command = [sys.executable, "-c", textwrap.dedent(DYING), str(tmp_path / CASE_FILE), call, when]
    assert subprocess.run(command, cwd=REPO, check=False).returncode == -signal.SIGKILL
    assert opened(tmp_path / CASE_FILE).value("age_years") == age
    saved(opened(tmp_path / CASE_FILE))
    assert not list(tmp_path.glob(".*.part"))
