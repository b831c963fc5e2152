"""Names, globs and what they find."""

import hashlib
from pathlib import Path

import pytest

from proofstrip.errors import DataError
from proofstrip.read.files import find_file, find_files, hash_file, short_name, tell_format


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "raw [1]").mkdir()
    for name in ("b.csv", "a.csv", "raw [1]/c.csv"):
        (tmp_path / name).write_text(f"x,y\n1,{name}\n")
    return tmp_path


def names(patterns: list[str], folder: Path) -> list[str]:
    return [short_name(path, folder) for path in find_files(patterns, folder)[0]]


def test_files_come_sorted_and_once(folder: Path) -> None:
    assert names(["*.csv"], folder) == ["a.csv", "b.csv"]
    assert names(["b.csv", "a.csv"], folder) == ["a.csv", "b.csv"]
    assert names(["**/*.csv"], folder) == ["a.csv", "b.csv", "raw [1]/c.csv"]


def test_name_with_brackets_is_a_name_first(folder: Path) -> None:
    assert names(["raw [1]/c.csv"], folder) == ["raw [1]/c.csv"]
    assert [path.name for path in find_files(["*.csv"], folder / "raw [1]")[0]] == ["c.csv"]


def test_absolute_name(folder: Path) -> None:
    assert names([str(folder / "a.csv")], folder) == ["a.csv"]


@pytest.mark.parametrize(
    ("pattern", "said"),
    [
        ("*.gpkg", r"'\*\.gpkg': this glob matches no file"),
        ("none.csv", "'none.csv': there is no such file"),
        ("raw [1]", r"is a folder without a TASKDATA.XML; name the files in it"),
        ("/vsizip/log.zip/log.csv", "virtual or network path"),
        ("/vsicurl/https://example.org/log.csv", "virtual or network path"),
        ("https://example.org/log.csv", "virtual or network path"),
        ("zip://log.zip!log.csv", "virtual or network path"),
    ],
)
def test_name_that_finds_nothing_to_read(folder: Path, pattern: str, said: str) -> None:
    with pytest.raises(DataError, match=said):
        find_files([pattern], folder)


def test_same_name_twice_and_same_content_twice_are_said(folder: Path) -> None:
    (folder / "copy.csv").write_bytes((folder / "a.csv").read_bytes())
    found, notices = find_files(["a.csv", "a.csv", "copy.csv"], folder)
    assert [path.name for path in found] == ["a.csv"]
    assert [notice.message for notice in notices] == [
        "a.csv is named twice; it is read once.",
        "copy.csv is the same, byte by byte, as a.csv; it is read once.",
    ]


def test_one_file_is_meant_where_one_is_needed(folder: Path) -> None:
    path, digest = find_file("a.csv", folder)
    assert (path.name, digest) == ("a.csv", hash_file(path))
    with pytest.raises(DataError, match=r"'\*\.csv' means 2 files \(a\.csv, b\.csv\); name one of them"):
        find_file("*.csv", folder)


def test_hash_is_that_of_the_bytes(folder: Path) -> None:
    assert hash_file(folder / "a.csv") == hashlib.sha256((folder / "a.csv").read_bytes()).hexdigest()


def test_format_is_told_by_content_where_the_name_says_nothing(folder: Path) -> None:
    for name, content, kind in (
        ("log.dat", b"a,b\n1,2\n", "delimited text"),
        ("log.bin", b"PAR1....", "Parquet"),
        ("log", b'  {"type": "FeatureCollection"}', "GeoJSON"),
    ):
        (folder / name).write_bytes(content)
        assert tell_format(folder / name) == kind
