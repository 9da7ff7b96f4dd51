"""Uploads and the case's folder: nothing outside it, no name that hurts, nothing left of what was refused."""

from __future__ import annotations

import io
import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casework.desk.folder import LONGEST_NAME, OutsideError, clean_name, free_name, inside
from casework.desk.uploads import UploadError, arrived
from demo_meshes import demo_folder
from mesh_tools.errors import BadFileError, BadValueError
from mesh_tools.read import FORMATS, read_surface

MOLAR = (demo_folder() / "molar_16.stl").read_bytes()


def names(folder: Path) -> list[str]:
    """Files of a folder, without the lock."""
    return sorted(p.name for p in folder.iterdir() if p.name != ".case.lock")


# Inside --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["../x.stl", "a/../../x.stl", "/etc/passwd", "~/x.stl", "..", ".", "", "a\\..\\x.stl", "C:x.stl", "x\0.stl", "a/..",
     "\\\\host\\share\\x.stl", "x.stl:stream"],
)  # fmt: skip
def test_names_that_lead_out_are_refused(tmp_path: Path, name: str):
    with pytest.raises(OutsideError, match="must lie in the case's folder"):
        inside(tmp_path, name)


def test_links_that_lead_out_are_refused(tmp_path: Path):
    case, other = tmp_path / "case", tmp_path / "case-other"
    case.mkdir()
    other.mkdir()
    (other / "x.stl").write_bytes(MOLAR)
    (case / "file.stl").symlink_to(other / "x.stl")
    (case / "folder").symlink_to(other)
    (case / "loop.stl").symlink_to(case / "loop.stl")
    for name in ("file.stl", "folder/x.stl"):
        with pytest.raises(OutsideError, match="a link leads out of it"):
            inside(case, name)
    with pytest.raises(OutsideError, match="must lie in the case's folder"):
        inside(case, "loop.stl")


def test_what_lies_inside_is_found(tmp_path: Path):
    (tmp_path / "scans").mkdir()
    (tmp_path / "near.stl").symlink_to(tmp_path / "scans" / "x.stl")
    assert inside(tmp_path, "scans/x.stl") == tmp_path.resolve() / "scans" / "x.stl"
    assert inside(tmp_path, "near.stl") == tmp_path.resolve() / "scans" / "x.stl"
    assert inside(tmp_path, "./x.stl") == tmp_path.resolve() / "x.stl"


@given(st.text(max_size=40))
@settings(max_examples=120, deadline=None)
def test_no_name_at_all_leads_out(tmp_path_factory: pytest.TempPathFactory, name: str):
    folder = tmp_path_factory.getbasetemp()
    try:
        found = inside(folder, name)
    except OutsideError:
        return
    assert found != folder.resolve()
    assert found.is_relative_to(folder.resolve())


# Names ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given_", "plain"),
    [
        ("molar.stl", "molar.stl"),
        ("Molar 16.STL", "Molar_16.stl"),
        ("..\\..\\evil.ply", "evil.ply"),
        ("../../.ssh/key.obj", "key.obj"),
        (".hidden.stl", "hidden.stl"),
        ("a.b.c.stl", "a.b.c.stl"),
        ("con.stl", "scan_con.stl"),
        ("COM1.x.stl", "scan_COM1.x.stl"),
        ("na\0me\n.stl", "na_me.stl"),
        ("trailing. .stl", "trailing.stl"),
        ("x" * 300 + ".stl", "x" * (LONGEST_NAME - 4) + ".stl"),
    ],
)
def test_names_are_made_plain(given_: str, plain: str):
    assert clean_name(given_, endings=FORMATS) == plain


@pytest.mark.parametrize("name", ["case.toml", "molar", "molar.stl.exe", "", "x.stl/"])
def test_endings_that_are_no_mesh_are_refused(name: str):
    with pytest.raises(BadValueError, match=r"ending must be one of \.stl"):
        clean_name(name, endings=FORMATS)


@pytest.mark.parametrize("name", [".stl", "___.stl", "зуб.stl"])
def test_names_with_nothing_left_are_refused(name: str):
    with pytest.raises(BadValueError, match="the name has no letter or digit"):
        clean_name(name, endings=FORMATS)


@given(st.text(max_size=150))
@settings(max_examples=120, deadline=None)
def test_any_name_made_plain_is_safe_and_stays_plain(name: str):
    try:
        plain = clean_name(name + ".stl", endings=FORMATS)
    except BadValueError:
        return
    assert set(plain) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-")
    assert plain[0] not in ".-"
    assert len(plain) <= LONGEST_NAME + len("scan_")
    assert clean_name(plain, endings=FORMATS) == plain or len(plain) > LONGEST_NAME


def test_a_taken_name_gets_a_number_whatever_its_case(tmp_path: Path):
    for name in ("A.stl", "a-2.stl"):
        (tmp_path / name).touch()
    assert free_name(tmp_path, "a.stl") == "a-3.stl"
    assert free_name(tmp_path, "b.stl") == "b.stl"


# Uploads --------------------------------------------------------------------------------------------------------


def test_a_scan_arrives_whole_and_is_told(tmp_path: Path):
    got = arrived(tmp_path, "../Molar 16.STL", MOLAR)
    assert (got.name, got.came_as, got.size) == ("Molar_16.stl", "../Molar 16.STL", len(MOLAR))
    assert names(tmp_path) == ["Molar_16.stl"]
    assert (tmp_path / got.name).read_bytes() == MOLAR
    assert got.look.kind.kind == "whole tooth"
    assert got.look.faces == len(read_surface(tmp_path / got.name).faces)


@pytest.mark.parametrize("way", ["stream", "pieces"])
def test_a_scan_may_come_as_a_stream_or_in_pieces(tmp_path: Path, way: str):
    def pieces() -> Iterator[bytes]:
        for k in range(0, len(MOLAR), 10_000):
            yield MOLAR[k : k + 10_000]

    got = arrived(tmp_path, "m.stl", io.BytesIO(MOLAR) if way == "stream" else pieces())
    assert (tmp_path / got.name).read_bytes() == MOLAR


def test_nothing_is_overwritten_without_intent(tmp_path: Path):
    (tmp_path / "m.stl").write_bytes(b"mine")
    assert arrived(tmp_path, "m.stl", MOLAR).name == "m-2.stl"
    assert (tmp_path / "m.stl").read_bytes() == b"mine"
    assert arrived(tmp_path, "m.stl", MOLAR, replacing=True).name == "m.stl"
    assert (tmp_path / "m.stl").read_bytes() == MOLAR
    assert names(tmp_path) == ["m-2.stl", "m.stl"]


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("cut.stl", MOLAR[:-300], r"^cut.stl: is not STL"),
        ("empty.stl", b"", r"^empty.stl: the file is empty"),
        ("text.ply", b"hello", r"^text.ply: "),
        ("page.obj", b"<html></html>", r"^page.obj: "),
    ],
)
def test_a_mesh_that_cannot_be_used_leaves_nothing(tmp_path: Path, name: str, data: bytes, told: str):
    with pytest.raises(UploadError, match=told) as caught:
        arrived(tmp_path, name, data)
    assert "\n" not in str(caught.value)
    assert str(tmp_path) not in str(caught.value)
    assert names(tmp_path) == []


def test_a_replacement_that_is_refused_leaves_the_old_scan(tmp_path: Path):
    arrived(tmp_path, "m.stl", MOLAR)
    with pytest.raises(UploadError):
        arrived(tmp_path, "m.stl", b"not a mesh", replacing=True)
    assert (tmp_path / "m.stl").read_bytes() == MOLAR


def test_too_large_an_upload_is_stopped_on_the_way(tmp_path: Path):
    sent = 0

    def endless() -> Iterator[bytes]:
        nonlocal sent
        while True:
            sent += 1000
            yield bytes(1000)

    with pytest.raises(UploadError, match=r"'big\.stl': more than 0 MB; reduce the scan"):
        arrived(tmp_path, "big.stl", endless(), limit=100_000)
    assert sent <= 101_000
    assert names(tmp_path) == []


def test_a_broken_connection_leaves_nothing(tmp_path: Path):
    def broken() -> Iterator[bytes]:
        yield MOLAR[:5000]
        raise ConnectionResetError(104, "Connection reset by peer")

    with pytest.raises(BadFileError, match=r"'m\.stl' cannot be written \(Connection reset by peer\)"):
        arrived(tmp_path, "m.stl", broken())
    assert names(tmp_path) == []


def test_what_a_killed_upload_left_is_swept_when_old(tmp_path: Path):
    for name, age in ((".arriving-00-x.stl", 7200.0), (".arriving-01-y.stl", 10.0)):
        (tmp_path / name).write_bytes(b"half")
        os.utime(tmp_path / name, (time.time() - age,) * 2)
    arrived(tmp_path, "m.stl", MOLAR)
    assert names(tmp_path) == [".arriving-01-y.stl", "m.stl"]


def test_a_link_in_the_way_is_not_followed(tmp_path: Path):
    folder, outside = tmp_path / "case", tmp_path / "outside.stl"
    folder.mkdir()
    outside.write_bytes(b"theirs")
    (folder / "m.stl").symlink_to(outside)
    assert arrived(folder, "m.stl", MOLAR).name == "m-2.stl"
    with pytest.raises(OutsideError, match="a link leads out of it"):
        arrived(folder, "m.stl", MOLAR, replacing=True)
    assert outside.read_bytes() == b"theirs"
    assert names(folder) == ["m-2.stl", "m.stl"]
