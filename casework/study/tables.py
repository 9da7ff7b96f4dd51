"""A study's results as files: CSV, Parquet and the data dictionary, written in batches so that memory stays flat."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

from casework.study.columns import Column, cell
from casework.study.outline import MeanReach
from casework.study.rows import group_name

_BATCH = 2000
Record = dict[str, Any]


def write_dictionary(path: Path, columns: Sequence[Column]) -> None:
    """The data dictionary: one row a column."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream, lineterminator="\n")
        rows.writerow(("column", "type", "unit", "meaning"))
        rows.writerows((c.name, c.type, c.unit, c.meaning) for c in columns)


def write_csv(path: Path, columns: Sequence[Column], records: Iterable[Record]) -> None:
    """One row a record; numbers with all their digits, nothing for a value that is not there."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream, lineterminator="\n")
        rows.writerow([c.name for c in columns])
        rows.writerows([_shown(cell(c, r)) for c in columns] for r in records)


def write_parquet(path: Path, columns: Sequence[Column], records: Iterable[Record]) -> None:
    """The same as Parquet, with units and meanings in the schema. Raises ImportError without pyarrow."""
    import pyarrow as pa
    from pyarrow.parquet import ParquetWriter

    kinds = {"text": pa.string(), "whole": pa.int64(), "number": pa.float64(), "yes_no": pa.bool_()}
    schema = pa.schema(
        [pa.field(c.name, kinds[c.type], metadata={"unit": c.unit, "meaning": c.meaning}) for c in columns]
    )
    with ParquetWriter(path, schema, compression="zstd") as writer:
        for batch in _batches(records):
            arrays = [pa.array([cell(c, r) for r in batch], kinds[c.type]) for c in columns]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))


def write_mean_teeth(path: Path, records: Iterable[Record]) -> None:
    """The mean tooth of every place in the arch, level by level in the tooth's own frame, mm."""
    means: dict[str, MeanReach] = {}
    for record in records:
        if record.get("outline"):
            means.setdefault(group_name(record["tooth"]), MeanReach()).add(record["outline"])
    with path.open("w", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream, lineterminator="\n")
        rows.writerow(
            (
                "group",
                "teeth",
                "apical_mm",
                "mesial_end_mm",
                "distal_end_mm",
                "lingual_end_mm",
                "buccal_end_mm",
            )
        )
        for group, mean in sorted(means.items()):
            rows.writerows((group, mean.teeth, *(round(v, 3) for v in row)) for row in mean.rows())


def _batches(records: Iterable[Record]) -> Iterator[list[Record]]:
    left = iter(records)
    while batch := list(islice(left, _BATCH)):
        yield batch


def _shown(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value) if isinstance(value, float) else value
