"""Scale tickets: no load may get lost or change its weight."""

from pathlib import Path

import pytest

from proofstrip.config import TablePart
from proofstrip.errors import DataError
from proofstrip.read import Tickets, read_tickets


def read(folder: Path, text: str) -> Tickets:
    (folder / "tickets.csv").write_text(text)
    return read_tickets(TablePart(file="tickets.csv"), folder)


@pytest.mark.parametrize(
    ("header", "kilograms"),
    # Exact: 1 lb = 0.45359237 kg (yard and pound agreement of 1959).
    [
        ("Wet weight (lb)", 4490.564463),
        ("net_kg", 9900.0),
        ("Weight [lbs]", 4490.564463),
        ("scale weight t", 9_900_000.0),
    ],
)
def test_weights_are_kilograms(tmp_path: Path, header: str, kilograms: float) -> None:
    loads = read(tmp_path, f"Strip,{header},Moisture (%)\n1,9900,18.3\n1.0,9900,\n").loads
    assert list(loads.columns) == ["strip", "machine", "day", "wet_mass_kg", "moisture_pct"]
    assert loads["wet_mass_kg"].tolist() == pytest.approx([kilograms] * 2, rel=1e-12)
    assert loads["strip"].tolist() == ["1", "1"]
    assert loads["moisture_pct"].iloc[0] == 18.3


def test_load_without_moisture_is_kept_and_said(tmp_path: Path) -> None:
    tickets = read(tmp_path, "Strip,Weight (lb),Moisture (%)\n1,9900,18.3\n2,9900,\n")
    assert len(tickets.loads) == 2
    assert "1 of 2 loads have no moisture" in tickets.notices[0].message


def test_loads_by_machine(tmp_path: Path) -> None:
    loads = read(tmp_path, "Combine;Weight (kg);Moisture\nnorth;9900,5;18,3\n").loads
    assert loads.iloc[0].tolist() == [None, "north", None, 9900.5, 18.3]


def test_loads_by_machine_and_day(tmp_path: Path) -> None:
    loads = read(tmp_path, "Combine,Date,Weight (kg)\nnorth,2024-10-07,9900\nnorth,day 2,9900\n").loads
    assert loads["day"].tolist() == ["2024-10-07", "day 2"]


def test_a_date_that_two_countries_read_differently_is_refused_only_where_it_counts(tmp_path: Path) -> None:
    with pytest.raises(DataError, match=r"the date in row 1 is '10/07/2024'; write year, month and day"):
        read(tmp_path, "Combine,Date,Weight (kg)\nnorth,10/07/2024,9900\n")
    assert read(tmp_path, "Strip,Date,Weight (kg)\n1,10/07/2024,9900\n").loads["day"].tolist() == [None]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Strip,Weight,Moisture\n1,9900,18\n", r"weight column 'Weight' names no unit; .*'Weight \(lb\)'"),
        ("Strip,Weight (bu),Moisture\n1,9900,18\n", "says 'bu'; .*Bushels are not a weight"),
        ("Strip,Weight (ft),Moisture\n1,9900,18\n", "says 'ft'"),
        ("Strip,Moisture (%)\n1,18\n", "no column for the wet weight. Columns: Strip, Moisture"),
        ("Load,Weight (lb)\n1,9900\n", "no column says which strip or machine"),
        ("Strip,Weight (lb),Net (lb)\n1,2,3\n", r"'Weight \(lb\)' and 'Net \(lb\)' may each be it"),
        ('Strip,Weight (lb)\n1,"9,900"\n', r"holds '9,900' in row 1, which is no number"),
        ("Strip,Weight (lb)\n1,9900\n2,\n", r"is empty, zero or negative in 1 rows \(first: row 2\)"),
        ("Strip,Weight (lb)\n1,-5\n", "is empty, zero or negative"),
        ("Strip,Weight (lb)\n1,9900\n,9900\n", "column 'Strip' is empty in row 2"),
        ("Strip,Weight (lb),Moisture\n1,9900,0.18\n", "holds 0.18, which is no grain moisture in per cent"),
        ("Strip,Weight (lb),Moisture\n1,9900,dry\n", "moisture column 'Moisture' holds 'dry' in row 1"),
    ],
)
def test_table_that_leaves_something_open_is_refused(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(DataError, match=said) as fault:
        read(tmp_path, text)
    assert "\n" not in str(fault.value)


def test_spreadsheet_is_refused(tmp_path: Path) -> None:
    (tmp_path / "tickets.xlsx").write_bytes(b"PK\x03\x04\x14\x00\x06\x00")
    with pytest.raises(
        DataError,
        match=r"ZIP archive or spreadsheet, which is opened only for \[harvest\] files; unpack it",
    ):
        read_tickets(TablePart(file="tickets.xlsx"), tmp_path)
