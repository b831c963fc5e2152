"""Ground-loss counts: a table as people write it is read, and every fault of it is told at once."""

from pathlib import Path

import pytest

from proofstrip.config import GroundLossPart
from proofstrip.errors import DataError
from proofstrip.read import Counts, read_counts

STRIPS = ("1", "2", "B1-north")


def read(folder: Path, text: str, **settings: object) -> Counts:
    (folder / "counts.csv").write_text(text)
    return read_counts(GroundLossPart(file="counts.csv", **settings), folder, STRIPS)


@pytest.mark.parametrize(
    ("header", "area_m2"),
    # Exact: 1 ft = 0.3048 m (yard and pound agreement of 1959).
    [
        ("Frame area (ft2)", 0.09290304),
        ("frame_area_sqft", 0.09290304),
        ("Area [m²]", 1.0),
        ("Frame (sq in)", 0.00064516),
        ("Frame size cm^2", 0.0001),
    ],
)
def test_areas_are_square_metres(tmp_path: Path, header: str, area_m2: float) -> None:
    frames = read(tmp_path, f"Strip,Zone,Seeds,{header}\n1,header,12,1\n1.0,total,0,2\n").frames
    assert list(frames.columns) == ["strip", "zone", "seeds", "area_m2"]
    assert frames["area_m2"].tolist() == pytest.approx([area_m2, 2 * area_m2], rel=1e-12)
    assert frames["strip"].tolist() == ["1", "1"]
    assert frames["seeds"].tolist() == [12, 0]


@pytest.mark.parametrize(
    ("word", "zone"),
    [
        ("Pre-harvest", "preharvest"),
        ("PREHARVEST", "preharvest"),
        ("standing crop", "preharvest"),
        ("Header", "header"),
        ("gathering", "header"),
        ("Total", "total"),
        ("behind the combine", "total"),
    ],
)
def test_zones_as_people_write_them(tmp_path: Path, word: str, zone: str) -> None:
    assert read(tmp_path, f"strip;where;kernels;area m2\n2;{word};7;0,25\n").frames["zone"].tolist() == [zone]


def test_one_frame_for_all_stands_in_the_trial_file(tmp_path: Path) -> None:
    frames = read(tmp_path, "plot,zone,count\nB1-north,total,31\n", frame_area="10 ft^2").frames
    assert frames["area_m2"].tolist() == pytest.approx([0.9290304])
    frames = read(tmp_path, "strip,zone,count,area (m2)\n1,total,31,\n1,total,5,2\n", frame_area="1 ft^2").frames
    assert frames["area_m2"].tolist() == pytest.approx([0.09290304, 2.0])


def test_alike_frames_without_numbers_are_all_kept(tmp_path: Path) -> None:
    assert len(read(tmp_path, "strip,zone,seeds,frame area (ft2)\n1,header,3,1\n1,header,3,1\n").frames) == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Strip,Seeds\n1,3\n", "no column for the zone .*; no column for the frame area; .*Columns found: Strip"),
        ("Strip,Zone,Seeds,Frame area\n1,total,3,1\n", "area column 'Frame area' names no unit; .*ft\\^2, m\\^2"),
        ("Strip,Zone,Seeds,Frame area (ft)\n1,total,3,1\n", "says 'ft'"),
        ("Strip,Zone,Seeds,Count,Area m2\n1,total,3,3,1\n", "'Seeds' and 'Count' may each be it; keep one"),
        ("Strip,Zone,Seeds,Area m2\n", "no row"),
        ("Strip,Zone,Seeds,Area m2\n1,harvested,3,1\n", "names no zone .*'harvested'.: write one of pre"),
        ("Strip,Zone,Seeds,Area m2\n1,total,,1\n", "is no count in 1 rows .row 1 empty.: .*write 0 where none lay"),
        ("Strip,Zone,Seeds,Area m2\n1,total,-3,1\n", "is no count in 1 rows .row 1 '-3'"),
        ("Strip,Zone,Seeds,Area m2\n1,total,2.5,1\n", "is no count in 1 rows .row 1 '2.5'"),
        ("Strip,Zone,Seeds,Area m2\n1,total,inf,1\n", "is no count"),
        ("Strip,Zone,Seeds,Area m2\n1,total,many,1\n", "row 1 'many'"),
        ("Strip,Zone,Seeds,Area m2\n1,total,3,0\n", "is no area in 1 rows"),
        ("Strip,Zone,Seeds,Area m2\n1,total,3,\n", "is no area in 1 rows .row 1 empty."),
        ("Strip,Zone,Seeds,Area m2\n9,total,3,1\n", "names no strip .*'9'.: its strips are '1', '2', 'B1"),
        ("Strip,Zone,Seeds,Area m2\n1,total,3,1\n,total,3,1\n", "column 'Strip' is empty in 1 rows .row 2 empty"),
        (
            "Strip,Zone,Frame,Seeds,Area m2\n1,total,1,3,1\n1,header,1,3,1\n1,total,1,3,1\n",
            "1 frames stand there twice .row 3: strip 1, total, frame 1",
        ),
    ],
)  # fmt: skip
def test_faults_say_where_and_what_to_do(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(DataError, match=said) as caught:
        read(tmp_path, text)
    assert "counts.csv" in str(caught.value)


def test_all_faults_are_told_together(tmp_path: Path) -> None:
    with pytest.raises(DataError) as caught:
        read(tmp_path, "Strip,Zone,Frame,Seeds,Area m2\n7,total,1,3,1\n1,x,1,-1,1\n2,total,1,3,-1\n2,total,1,3,1\n")
    for part in ("no strip of the trial map", "no zone", "no count", "no area", "stand there twice"):
        assert part in str(caught.value)


def test_long_and_strange_texts_are_cut_short(tmp_path: Path) -> None:
    with pytest.raises(DataError) as caught:
        read(tmp_path, f"Strip,Zone,Seeds,Area m2\n{'s' * 5000},total,3,1\n")
    assert len(str(caught.value)) < 400


def test_a_picture_is_no_table(tmp_path: Path) -> None:
    (tmp_path / "counts.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(64))
    with pytest.raises(DataError, match=r"counts\.csv"):
        read_counts(GroundLossPart(file="counts.csv"), tmp_path, STRIPS)
