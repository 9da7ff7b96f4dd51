"""The table of a study as spreadsheets write it: what is read, and what each wrong row is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casework.study.rows import read_table, rows_of_folder
from mesh_tools.errors import BadFileError, BadValueError, MissingFileError


@pytest.fixture
def folder(tmp_path):
    for name in ("a_16.stl", "b_26.stl", "c_26.ply"):
        (tmp_path / name).write_bytes(b"x")
    return tmp_path


def table(folder, text, *, encoding="utf-8"):
    path = folder / "t.csv"
    path.write_bytes(text.encode(encoding))
    return read_table(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize(
    "text",
    [
        "mesh,tooth,axes,unit,age,class\na_16.stl,16,LPS,mm,9.5,Zürich\n",
        "mesh;tooth;axes;unit;age;class\r\na_16.stl;16;LPS;mm;9,5;Zürich\r\n",
        "sep=;\nmesh;tooth;axes;unit;age;class\na_16.stl;16;LPS;mm;9,5;Zürich\n",
        "mesh\ttooth\taxes\tunit\tage\tclass\na_16.stl\t16\tLPS\tmm\t9,5\tZürich\n\n\t\t\t\t\t\n",
    ],
)
def test_every_spreadsheet_export_reads_alike(folder, text, encoding):
    if text.startswith("sep="):
        text = text.split("\n", 1)[0] + "\n" + text.split("\n", 1)[1]
    found = table(folder, text, encoding=encoding)
    (row,) = found.rows
    assert found.problems == ()
    assert (row.tooth, row.axes, row.unit, row.id) == (16, "LPS", "mm", "a_16")
    assert row.covariates == {"age": 9.5, "class": "Zürich"}


def test_each_wrong_row_is_told_by_line_and_the_rest_goes_on(folder):
    found = table(
        folder,
        "id,mesh,tooth,axes,unit,crest_below_cej_mm\n"
        "ok,a_16.stl,16,LPS,mm,1.25\n"
        "gone,nothing.stl,16,LPS,mm,\n"
        "twice,a_16.stl,16,LPS,mm,1.25\n"
        "number,b_26.stl,56,LPS,mm,\n"
        "word,b_26.stl,six,LPS,mm,\n"
        "axes,b_26.stl,26,LPX,mm,\n"
        "unit,b_26.stl,26,LPS,furlong,\n"
        "crest,b_26.stl,26,LPS,mm,deep\n"
        "empty,,26,LPS,mm,\n"
        "last,b_26.stl,26,LPS,,\n",
    )
    assert [r.id for r in found.rows] == ["ok", "last"]
    assert found.rows[0].crest_below_cej_mm == 1.25
    told = {p.id: (p.line, p.reason) for p in found.problems}
    assert [told[k][0] for k in told] == list(range(3, 11))
    for key, words in {
        "gone": "nothing.stl does not exist", "twice": "same tooth as line 2", "number": "56", "word": "'six'",
        "axes": "axes code", "unit": "furlong", "crest": "'deep'", "empty": "mesh: is empty",
    }.items():  # fmt: skip
        assert words in told[key][1], key
        assert "\n" not in told[key][1]


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ("mesh,axes\na_16.stl,LPS\n", BadFileError, "column 'tooth' is missing"),
        ("", BadFileError, "column 'mesh' is missing"),
        ("mesh,tooth,axes,age,age\n", BadFileError, "column 'age' stands there twice"),
        ('mesh,tooth,axes\n"a_16.stl,16,LPS\n', BadFileError, "is not a table"),
    ],
)
def test_a_file_that_is_no_table_is_refused(folder, text, error, words):
    with pytest.raises(error, match=words):
        table(folder, text)


def test_a_missing_table_and_a_folder_without_fitting_names_are_refused(folder):
    with pytest.raises(MissingFileError, match=r"none\.csv does not exist"):
        read_table(folder / "none.csv")
    with pytest.raises(BadValueError, match="none of 3 mesh files is named like"):
        rows_of_folder(folder, "{id}-{tooth}.stl", axes="LPS")
    with pytest.raises(BadValueError, match=r"must hold \{tooth\}"):
        rows_of_folder(folder, "{id}.stl", axes="LPS")


def test_a_folder_gives_its_teeth_by_name(folder):
    found = rows_of_folder(folder, "{group}_{tooth}.stl", axes="RAS", unit="mm")
    assert [(r.tooth, r.covariates["group"], r.axes) for r in found.rows] == [
        (16, "a", "RAS"),
        (26, "b", "RAS"),
    ]
    assert found.covariates == ("group",)


@given(st.binary(max_size=400))
def test_no_bytes_make_it_raise_anything_but_its_own_error(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("t") / "t.csv"
    path.write_bytes(data)
    with pytest.raises(BadFileError):
        read_table(path)
