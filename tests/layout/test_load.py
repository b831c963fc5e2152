"""Layout files that cannot work are refused before any field is read, with every problem and its line."""

import pytest
from tests.layout.fields import make_settings, write_file

from proofstrip.errors import SettingsError
from proofstrip.layout import load_layout


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"header": "13 m"},
            "header is 13 m wide: every pass of the combine would cut two treatments. Make strips 24 m",
        ),
        (
            {"header": "12 m", "strips": 'edge = "1 m"'},
            "less 1 m at either edge leaves 10 m, and the header is 12 m wide",
        ),
        ({"strips": 'width = "18 m"'}, "a strip of 18 m is no whole number of passes of the 12 m planter that makes"),
        ({"strips": 'width = "18 m"'}, "give 12 m or 24 m"),
        ({"strips": 'buffer = "5 m"'}, "buffer = 5 m is no whole number of passes of the 12 m planter"),
        ({"strips": 'width = "12 m"\npasses = 1'}, "width and passes say the same"),
        ({"replicates": 2}, "must be 3 or more; found 2"),
        ({"treatments": '["A"]'}, "treatments"),
        ({"treatments": '["B", "C"]'}, "control = 'A' is no treatment"),
        ({"treatments": '["A", "a"]'}, "a name of its own"),
        ({"tool": "drill"}, "treated_with must be 'planter', 'sprayer' or 'header'"),
        ({"more": '[expect]\nyield = "60 bu/km"'}, "unit"),
        ({"more": '[expect]\nyield = "6000 bu/ac"'}, "is no yield of soybean"),
        ({"more": "[expect]\nsd_pct = 3\ncv_pct = 2"}, "sd_pct and cv_pct say the same"),
        ({"more": '[economics]\nprice = "10 USD/bu"\n[economics.cost]\nD = "3 USD/ac"'}, "cost names 'D'"),
        ({"strips": 'colour = "red"'}, "colour is not a setting"),
        ({"tool": "header", "strips": 'edge = "1 m"'}, "edge is for treatments that drift"),
    ],
)
def test_problem_is_named(tmp_path, changes, said) -> None:
    with pytest.raises(SettingsError) as fault:
        make_settings(tmp_path, **changes)
    assert said in str(fault.value)


def test_all_problems_of_the_widths_stand_together_with_their_lines(tmp_path) -> None:
    path = write_file(tmp_path, header="14 m", strips='width = "13 m"\nbuffer = "5 m"')
    with pytest.raises(SettingsError) as fault:
        load_layout(path)
    lines = path.read_text().splitlines()
    found = [int(problem.split(":")[0].removeprefix("line ")) for problem in fault.value.problems]
    assert [lines[number - 1].split(" =")[0] for number in found] == ["width", "width", "buffer"]


def test_sprayer_may_leave_any_buffer(tmp_path) -> None:
    assert make_settings(tmp_path, tool="sprayer", strips='buffer = "5 m"').strips.buffer_m == 5


def test_passes_that_count_leave_the_edges(tmp_path) -> None:
    assert make_settings(tmp_path, strips="passes = 2").header_passes == 4
    assert make_settings(tmp_path, strips='passes = 2\nedge = "2 m"').header_passes == 3
    # 40 ft are 12.192 m; written as 12.19 m a 40 ft header still fits.
    assert make_settings(tmp_path, header="40 ft", tool="sprayer", strips='width = "24 m"').header_passes == 1
