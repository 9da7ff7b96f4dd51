"""A study run for real: pool, resumed, killed, crashed and hung workers, and a Dask cluster of two processes."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from casework.locking import InUseError, locked
from casework.study.log import opened_log
from casework.study.one_tooth import ToothAnswer, answer, failed
from casework.study.pool import Bounds, Task, pool_answers
from casework.study.rows import StudyRow, read_table
from casework.study.settings import StudySettings
from casework.study.study import LOG, run_study
from mesh_tools.errors import BadValueError
from tests.casework.study_teeth import write_teeth

QUICK = StudySettings(methods=("rule_of_thumb", "furcation", "root_centroid", "elastic_foundation"))


def in_order(tasks, settings):
    return (answer(t.row, settings, t.known_key) for t in tasks)


def results(out):
    return list(csv.DictReader((out / "results.csv").read_text("utf-8").splitlines()))


@pytest.fixture(scope="module")
def teeth(tmp_path_factory):
    return read_table(write_teeth(tmp_path_factory.mktemp("teeth"), 4))


@pytest.fixture(scope="module")
def plain(teeth, tmp_path_factory):
    out = tmp_path_factory.mktemp("plain")
    return out, run_study(teeth, QUICK, out, answers=in_order)


def test_one_row_a_tooth_and_method_with_a_dictionary_of_every_column(teeth, plain):
    out, outcome = plain
    rows = results(out)
    assert len(rows) == len(teeth.rows) * len(QUICK.methods)
    assert {r["status"] for r in rows} == {"ok"}
    words = {
        r["column"]: r["meaning"]
        for r in csv.DictReader((out / "dictionary.csv").read_text("utf-8").splitlines())
    }
    assert set(words) == set(rows[0])
    assert all(words.values())
    assert (outcome.count.failed, outcome.count.kept) == (0, 0)


def test_parquet_holds_what_the_csv_holds(plain):
    import pyarrow.parquet as pq

    out, _ = plain
    table = pq.read_table(out / "results.parquet").to_pylist()
    for row, text in zip(table, results(out), strict=True):
        assert row["method"] == text["method"]
        assert repr(row["x_mm"]) == text["x_mm"]
        assert row["cov_age"] == float(text["cov_age"])


def test_the_local_frame_knows_no_side_and_agrees_with_lps(plain):
    rows = results(plain[0])
    by = {(r["id"], r["method"]): r for r in rows}
    for r in rows:
        roof = by[r["id"], "furcation"]
        lps = [float(r[k]) - float(roof[k]) for k in ("x_mm", "y_mm", "z_mm")]
        local = [float(r[f"centre_{k}_mm"]) for k in ("apical", "distal", "buccal")]
        assert np.linalg.norm(lps) == pytest.approx(np.linalg.norm(local), abs=1e-9)
        assert np.linalg.norm(local) == pytest.approx(float(r["from_furcation_mm"]), abs=1e-9)
    assert all(
        float(r["buccal_face_buccal_mm"]) > 3.0 for r in rows
    )  # the cheek's side, right and left alike


def test_a_pool_and_any_order_give_the_same_bytes(teeth, plain, tmp_path):
    def backwards(tasks, settings):
        return in_order(list(tasks)[::-1], settings)

    run_study(teeth, QUICK, tmp_path / "b", answers=backwards)
    run_study(teeth, QUICK, tmp_path / "p", answers=partial(pool_answers, workers=2))
    for name in ("results.csv", "results.parquet", "dictionary.csv", "study.json"):
        wanted = (plain[0] / name).read_bytes()
        assert (tmp_path / "b" / name).read_bytes() == wanted, name
        assert (tmp_path / "p" / name).read_bytes() == wanted, name


def test_what_is_known_is_kept_and_a_changed_mesh_is_not(teeth, tmp_path):
    run_study(teeth, QUICK, tmp_path, answers=in_order)
    again = run_study(teeth, QUICK, tmp_path, answers=in_order)
    assert again.count.kept == len(teeth.rows)
    assert run_study(teeth, StudySettings(methods=("furcation",)), tmp_path, answers=in_order).count.kept == 0
    first = Path(teeth.rows[0].mesh)
    before = first.read_bytes()
    try:
        first.write_bytes(b"changed head" + before[12:])
        assert (
            run_study(teeth, StudySettings(methods=("furcation",)), tmp_path, answers=in_order).count.kept
            == 3
        )
    finally:
        first.write_bytes(before)


@pytest.mark.parametrize("harm", [b"cut", b"12345678 {}\n", b"\xff\x00\n\n", b"00000000 {"])
def test_a_log_with_a_broken_end_loses_nothing_before_it(teeth, tmp_path, harm):
    done = ToothAnswer("one", "k", [failed(teeth.rows[0], "why")], 0.5)
    with opened_log(tmp_path / LOG) as log:
        log.append(done)
    with (tmp_path / LOG).open("ab") as stream:
        stream.write(harm)
    with opened_log(tmp_path / LOG) as log:
        log.append(ToothAnswer("two", "k2", [failed(teeth.rows[1], "why")], 0.5))
    with opened_log(tmp_path / LOG) as log:
        assert set(log.known) == {"one", "two"}
        assert log.records("one") == done.records


def test_a_second_writer_is_refused(tmp_path):
    lock = tmp_path / "x.lock"
    second = locked(lock, thing="the study")
    with (
        locked(lock, thing="the study"),
        pytest.raises(InUseError, match="the study is being written by another run"),
        second,
    ):
        pass


def test_settings_that_make_no_sense_are_refused():
    with pytest.raises(BadValueError, match="got nosuch"):
        StudySettings(methods=("nosuch",))
    with pytest.raises(BadValueError, match="zero or more; got -1"):
        StudySettings(samples=-1)


def killer(row, settings, known_key=""):
    """In a worker: dies, hangs or answers, as the row's name says."""
    if row.id == "dies":
        os.kill(os.getpid(), signal.SIGKILL)
    if row.id == "hangs":
        time.sleep(60.0)
    return ToothAnswer(row.name, "k", [failed(row, "stands for an answer")], 0.0)


@pytest.mark.skipif(os.name == "nt", reason="signals as Unix has them")
def test_a_mesh_that_kills_or_hangs_its_worker_costs_that_row_only(monkeypatch):
    monkeypatch.setattr("casework.study.pool.answer", killer)
    names = ["a", "b", "dies", "c", "hangs", "d", "e"]
    tasks = [Task(StudyRow(k, name, f"{name}.stl", 26, "LPS")) for k, name in enumerate(names)]
    found = {
        a.name: a.records[0]["reason"]
        for a in pool_answers(tasks, QUICK, workers=2, bounds=Bounds(seconds=4.0))
    }
    assert len(found) == len(names)
    by_id = {t.row.id: found[t.row.name] for t in tasks}
    assert "killed its worker twice" in by_id["dies"]
    assert "took longer than 4 s" in by_id["hangs"]
    assert {by_id[k] for k in "abcde"} == {"stands for an answer"}


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals as Unix has them")
def test_a_study_killed_again_and_again_ends_with_the_same_bytes(plain, teeth, tmp_path):
    table = str(next(iter({os.path.dirname(r.mesh) for r in teeth.rows}))) + "/teeth.csv"
    methods = [w for m in QUICK.methods for w in ("--method", m)]
    command = [sys.executable, "-m", "viewer.cli", "study", table, "--out", str(tmp_path), "--workers", "1",
               "--no-pictures", *methods]  # fmt: skip
    rng = np.random.default_rng(11)
    for _ in range(12):
        run = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
        )
        time.sleep(float(rng.uniform(0.2, 4.0)))
        os.killpg(run.pid, signal.SIGKILL)
        run.communicate()
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "4 teeth: 4 estimated" in done.stdout
    for name in ("results.csv", "results.parquet"):
        assert (tmp_path / name).read_bytes() == (plain[0] / name).read_bytes()


@pytest.mark.slow
def test_a_cluster_of_two_workers_gives_the_same_bytes_and_survives_a_dead_one(teeth, plain, tmp_path):
    from casework.study.cluster import NoClusterError, cluster_answers

    scheduler, workers = started_cluster(tmp_path)
    try:
        outcome = run_study(
            teeth, QUICK, tmp_path / "out", answers=partial(cluster_answers, scheduler=scheduler)
        )
        assert outcome.count.failed == 0
        for name in ("results.csv", "results.parquet"):
            assert (tmp_path / "out" / name).read_bytes() == (plain[0] / name).read_bytes()
        workers[1].kill()
        more = run_study(teeth, StudySettings(methods=("furcation",)), tmp_path / "more",
                         answers=partial(cluster_answers, scheduler=scheduler))  # fmt: skip
        assert more.count.failed == 0
    finally:
        for process in workers:
            process.kill()
            process.wait()
    with pytest.raises(NoClusterError, match="no Dask scheduler at tcp://127"):
        list(cluster_answers([], QUICK, scheduler="tcp://127.0.0.1:9", patience="1s"))


def started_cluster(folder):
    """A scheduler and two worker processes on loopback."""
    where = folder / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    base = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
            "--no-dashboard", "--scheduler-file", str(where)]  # fmt: skip
    made = [subprocess.Popen(base, cwd=folder, **quiet)]
    deadline = time.monotonic() + 60.0
    while not where.exists() and time.monotonic() < deadline:
        time.sleep(0.1)
    address = json.loads(where.read_text())["address"]
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny",
              "--no-dashboard", "--local-directory", str(folder)]  # fmt: skip
    made += [subprocess.Popen(worker, cwd=folder, **quiet) for _ in range(2)]
    return address, made
