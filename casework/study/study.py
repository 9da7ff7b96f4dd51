"""A study from its table to its results: what is known is kept, the rest computed, all written in the table's order."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from casework.study.columns import Column, columns_of
from casework.study.log import StudyLog, opened_log
from casework.study.one_tooth import ToothAnswer
from casework.study.pool import Task
from casework.study.rows import RowProblem, StudyRow, StudyTable
from casework.study.settings import StudySettings
from casework.study.tables import write_csv, write_dictionary, write_mean_teeth, write_parquet
from casework.writing import filled_folder

LOG = "answers.log"
Answers = Callable[[Iterable[Task], StudySettings], Iterator[ToothAnswer]]
NO_PARQUET = (
    "results.parquet needs pyarrow, which is not installed (pip install 'bowtrue[study]'); CSV is written."
)


@dataclass(frozen=True)
class StudyCount:
    """How far a study is: teeth in all, answered, of these taken from an earlier run, failed."""

    teeth: int
    answered: int
    kept: int
    failed: int


@dataclass(frozen=True)
class StudyOutcome:
    """What a study came to; ``seconds``: the workers' time over the teeth computed now; ``notes``: what to tell."""

    count: StudyCount
    seconds: float
    notes: tuple[str, ...]


def run_study(
    table: StudyTable,
    settings: StudySettings,
    out: Path,
    *,
    answers: Answers,
    progress: Callable[[StudyCount], None] = lambda _: None,
) -> StudyOutcome:
    """Estimate every tooth of ``table`` and write the results into ``out``; a killed run goes on where it was.

    ``answers`` does the work: ``pool_answers`` or ``cluster_answers`` with their own arguments bound. Raises InUseError
    when another run writes there.
    """
    with opened_log(out / LOG) as log:
        count, seconds = _answered(table, settings, log, answers, progress)
        notes = _written(table, settings, log, out, count)
    return StudyOutcome(count, seconds, notes)


def _answered(
    table: StudyTable,
    settings: StudySettings,
    log: StudyLog,
    answers: Answers,
    progress: Callable[[StudyCount], None],
) -> tuple[StudyCount, float]:
    teeth = len(table.rows) + len(table.problems)
    answered = failed = len(table.problems)
    kept, seconds = 0, 0.0
    tasks = (Task(row, log.known[row.name].key if row.name in log.known else "") for row in table.rows)
    for done in answers(tasks, settings):
        if done.records is None:
            kept += 1
        else:
            log.append(done)
        seconds += done.seconds
        answered += 1
        records = log.records(done.name) if done.records is None else done.records
        failed += all(r["status"] == "failed" for r in records)
        progress(StudyCount(teeth, answered, kept, failed))
    return StudyCount(teeth, answered, kept, failed), seconds


def study_records(table: StudyTable, log: StudyLog) -> Iterator[dict[str, Any]]:
    """Every record of the study in the table's order, each row's line and covariates as the table has them now."""
    both: list[StudyRow | RowProblem] = [*table.rows, *table.problems]
    places = sorted(both, key=lambda row: row.line)
    for row in places:
        if isinstance(row, RowProblem):
            yield {
                "line": row.line, "id": row.id, "mesh": Path(row.mesh).name, "tooth": _tooth(row.tooth),
                "method": "", "status": "failed", "reason": row.reason,
            }  # fmt: skip
            continue
        now = {"line": row.line, "id": row.id, **{f"cov_{k}": v for k, v in row.covariates.items()}}
        for record in log.records(row.name):
            known = {k: v for k, v in record.items() if not k.startswith("cov_")}
            yield {**known, **now}


def study_columns(table: StudyTable) -> tuple[Column, ...]:
    """The columns of the study's results."""
    values = {c: [row.covariates.get(c, "") for row in table.rows] for c in table.covariates}
    numbers = {c: all(isinstance(v, float) or v == "" for v in found) for c, found in values.items()}
    return columns_of(table.covariates, numbers)


def _written(
    table: StudyTable, settings: StudySettings, log: StudyLog, out: Path, count: StudyCount
) -> tuple[str, ...]:
    columns, notes = study_columns(table), []
    with filled_folder(out) as folder:
        write_csv(folder / "results.csv", columns, study_records(table, log))
        try:
            write_parquet(folder / "results.parquet", columns, study_records(table, log))
        except ImportError:
            notes.append(NO_PARQUET)
        write_dictionary(folder / "dictionary.csv", columns)
        write_mean_teeth(folder / "mean_teeth.csv", study_records(table, log))
        tree = {"version": version("bowtrue"), "settings": asdict(settings), "teeth": count.teeth}
        tree |= {"failed": count.failed, "covariates": list(table.covariates)}
        (folder / "study.json").write_text(json.dumps(tree, indent=2) + "\n", "utf-8")
    return tuple(notes)


def _tooth(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 4 else None
