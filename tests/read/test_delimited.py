"""The same table in every way that delimited text is written, and the ways in which it goes wrong."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from proofstrip.errors import DataError
from proofstrip.read import Harvest
from proofstrip.read.delimited import look_at_delimited

Make = Callable[..., pd.DataFrame]
Read = Callable[..., Harvest]
Codes = Callable[[Harvest], list[str]]


@pytest.mark.parametrize(
    ("delimiter", "decimal", "encoding"),
    [
        (",", ".", "utf-8"),
        (",", ".", "utf-8-sig"),
        (",", ".", "utf-16"),
        (";", ",", "utf-8"),
        (";", ".", "cp1252"),
        ("\t", ".", "utf-8"),
        ("\t", ",", "cp1252"),
        ("|", ".", "utf-8"),
    ],
)
def test_every_way_of_writing_gives_the_same_points(
    make_log: Make, read: Read, tmp_path: Path, delimiter: str, decimal: str, encoding: str
) -> None:
    log = make_log()
    log["Machine"] = "Mähdrescher Süd"
    log.to_csv(tmp_path / "plain.csv", index=False)
    log.to_csv(tmp_path / "other.csv", index=False, sep=delimiter, decimal=decimal, encoding=encoding)
    plain = read(files=["plain.csv"]).points.drop(columns="source_file")
    other = read(files=["other.csv"]).points.drop(columns="source_file")
    pd.testing.assert_frame_equal(pd.DataFrame(plain), pd.DataFrame(other))
    assert other["machine"].iloc[0] == "Mähdrescher Süd"


def test_byte_that_is_not_utf8_far_below_the_head(make_log: Make, read: Read, tmp_path: Path) -> None:
    log = make_log(rows=4000)
    log["Machine"] = ["Sued"] * 3999 + ["Süd"]
    log.to_csv(tmp_path / "log.csv", index=False, encoding="cp1252")
    assert (tmp_path / "log.csv").stat().st_size > 270_000
    assert read(files=["log.csv"]).points["machine"].iloc[-1] == "Süd"


def test_line_that_names_the_delimiter_is_skipped(make_log: Make, read: Read, tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("sep=;\n" + make_log().to_csv(index=False, sep=";"))
    assert len(read(files=["log.csv"]).points) == 30


def test_empty_lines_above_the_header_are_skipped(make_log: Make, read: Read, tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("\n\n" + make_log().to_csv(index=False))
    assert len(read(files=["log.csv"]).points) == 30


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"\n \n\n", "only empty lines"),
        (b"Longitude,Latitude,Flow(lb/s)\n", "a header row and no row below it"),
        (b"-93.1,43.1,20\n-93.1,43.2,20\n", "not names of columns"),
        (b"just some words\nand more of them\n", "no comma, semicolon, tab or bar"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "the content is a PNG picture"),
        (b"PK\x03\x04\x14\x00", "cannot be unpacked"),
        (b"\x01\x02\x00\x00binary", "the content is binary"),
        (b"SQLite format 3\x00rest", "the name says delimited text, but the content is GeoPackage"),
    ],
)
def test_file_that_is_no_table_is_refused_in_one_paragraph(
    read: Read, tmp_path: Path, content: bytes, said: str
) -> None:
    (tmp_path / "log.csv").write_bytes(content)
    with pytest.raises(DataError, match=said) as fault:
        read(files=["log.csv"])
    assert str(fault.value).startswith("log.csv: ")
    assert "\n" not in str(fault.value)


def test_short_rows_are_kept_and_counted(make_log: Make, read: Read, tmp_path: Path) -> None:
    lines = make_log().to_csv(index=False).splitlines()
    lines[5] = ",".join(lines[5].split(",")[:4])
    lines[30] = lines[30][:30]
    (tmp_path / "log.csv").write_text("\n".join(lines))
    harvest = read(files=["log.csv"])
    assert len(harvest.points) == 30
    assert harvest.points["moisture_pct"].isna().to_numpy().nonzero()[0].tolist() == [4, 29]
    said = next(notice.message for notice in harvest.notices if notice.code == "short_rows")
    assert "2 rows have fewer fields than the header (first: row 5)" in said


def test_long_row_is_refused_with_its_number(make_log: Make, read: Read, tmp_path: Path) -> None:
    lines = make_log().to_csv(index=False).splitlines()
    lines[7] += ",surplus"
    (tmp_path / "log.csv").write_text("\n".join(lines))
    with pytest.raises(DataError, match=r"row 7: 12 fields, but the header names 11; .*'surplus'"):
        read(files=["log.csv"])


def test_empty_fields_at_the_end_of_rows_are_left_out(make_log: Make, read: Read, codes: Codes, tmp_path: Path) -> None:
    head, *rows = make_log().to_csv(index=False).splitlines()
    (tmp_path / "log.csv").write_text("\n".join([head, *(row + "," for row in rows)]))
    harvest = read(files=["log.csv"])
    assert len(harvest.points) == 30
    assert "trailing_delimiters" in codes(harvest)


def test_line_breaks_within_quotes_survive_uneven_rows(make_log: Make, read: Read, tmp_path: Path) -> None:
    lines = make_log().to_csv(index=False).splitlines()
    lines[3] = lines[3].replace("down", '"down\n"')
    lines[5] = lines[5].removesuffix(",down")
    (tmp_path / "log.csv").write_text("\n".join(lines))
    harvest = read(files=["log.csv"])
    assert len(harvest.points) == 30
    assert harvest.points["header_down"].isna().sum() == 1


def test_text_in_a_number_column_is_counted_with_its_first_row(make_log: Make, read: Read) -> None:
    log = make_log().astype({"Flow(lb/s)": "object"})
    log.loc[[9, 20], "Flow(lb/s)"] = ["overload", "?"]
    harvest = read(log)
    assert harvest.points["mass_flow_kg_s"].isna().to_numpy().nonzero()[0].tolist() == [9, 20]
    # International yard and pound agreement: 1 lb = 0.45359237 kg.
    assert harvest.points["mass_flow_kg_s"].iloc[0] == pytest.approx(20 * 0.45359237, rel=1e-12)
    said = next(notice.message for notice in harvest.notices if notice.code == "text_in_numbers")
    assert "log1.csv: column 'Flow(lb/s)' holds text in 2 of 30 rows (first: 'overload' in row 10)" in said


def test_nan_and_infinite_values_become_missing_and_are_counted(make_log: Make, read: Read, codes: Codes) -> None:
    log = make_log()
    log.loc[3, "Flow(lb/s)"] = np.inf
    log.loc[4, "Flow(lb/s)"] = -np.inf
    log.loc[5, "Flow(lb/s)"] = np.nan
    harvest = read(log)
    assert harvest.points["mass_flow_kg_s"].isna().to_numpy().nonzero()[0].tolist() == [3, 4, 5]
    assert {"infinite_values", "empty_values"} <= set(codes(harvest))


def test_repeated_header_is_asked(make_log: Make, read: Read, tmp_path: Path) -> None:
    text = make_log().assign(**{"flow": 1.0}).to_csv(index=False).replace(",flow\n", ",Flow(lb/s)\n", 1)
    (tmp_path / "log.csv").write_text(text)
    with pytest.raises(DataError, match=r"'Flow\(lb/s\)' and 'Flow\(lb/s\) \(2\)' may each be it"):
        read(files=["log.csv"])


def test_head_says_how_the_file_is_written(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_bytes("Höhe;Zeit\r\n1,5;2\r\n".encode("cp1252"))
    head = look_at_delimited(tmp_path / "log.csv")
    assert head.layout == {"encoding": "cp1252", "delimiter": ";", "decimal": ","}
    assert head.names == ("Höhe", "Zeit")
