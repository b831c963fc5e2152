"""Settings: every problem of a file at once, each with its line, before any data is read."""

from pathlib import Path

import pytest

from proofstrip.config import config_folder, load_defaults, load_settings, read_toml
from proofstrip.errors import SettingsError

GOOD = """[trial]
name = "A trial"
season = 2024
crop = "soybean"
[harvest]
files = ["a.csv"]
[trial_map]
file = "map.gpkg"
control = "none"
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "trial.toml"
    path.write_text(text, encoding="utf-8")
    return path


def problems(folder: Path, text: str) -> list[str]:
    with pytest.raises(SettingsError) as caught:
        load_settings(write(folder, text))
    assert caught.value.exit_status == 2
    return caught.value.problems


def test_a_short_file_is_filled_up_with_the_defaults(tmp_path):
    settings = load_settings(write(tmp_path, GOOD))
    assert settings.clean == load_defaults().clean
    assert settings.standard_moisture_pct == 13.0
    assert settings.economics is None
    assert settings.folder == tmp_path


def test_all_problems_are_told_together_each_with_its_line(tmp_path):
    text = GOOD.replace("2024", '"soon"').replace('"soybean"', '"soybeen"') + '[clean]\nmax_gap = "3 kg"\nfoo = 1\n'
    found = problems(tmp_path, text)
    assert len(found) == 4
    assert found[0].startswith("line 3: [trial] season")
    assert "line 4: [trial] crop" in found[1]
    assert "Did you mean 'soybean'?" in found[1]
    assert "line 11: [clean] max_gap" in found[2]
    assert "'kg' does not measure the same thing" in found[2]
    assert "line 12: [clean] foo is not a setting" in found[3]


def test_a_missing_part_is_named(tmp_path):
    (only,) = problems(tmp_path, GOOD.split("[trial_map]")[0])
    assert "[trial_map] is missing" in only


def test_a_quantity_without_a_unit_is_refused_with_an_example(tmp_path):
    (only,) = problems(tmp_path, GOOD.replace('files = ["a.csv"]', 'files = ["a.csv"]\nswath = 30'))
    assert "line 7: [harvest] swath needs a number and a unit in quotes" in only


def test_quantities_come_in_any_unit_of_their_kind(tmp_path):
    text = GOOD.replace('files = ["a.csv"]', 'files = ["a.csv"]\nswath = "30 ft"') + '[clean]\njump_speed = "5 mph"\n'
    settings = load_settings(write(tmp_path, text))
    assert settings.harvest.swath_m == pytest.approx(9.144)
    assert settings.clean.jump_m_s == pytest.approx(2.2352)


@pytest.mark.parametrize(
    ("text", "said"),
    [("[trial\nname = 1", "not valid TOML"), ("", "[trial] is missing"), (None, "there is no such file")],
)
def test_a_file_that_is_no_settings_file(tmp_path, text, said):
    path = tmp_path / "trial.toml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match=said.replace("[", r"\[").replace("]", r"\]")):
        load_settings(path)


def test_a_file_that_is_not_utf_8(tmp_path):
    path = tmp_path / "trial.toml"
    path.write_bytes(GOOD.replace("A trial", "Prüfung").encode("cp1252"))
    with pytest.raises(SettingsError, match="is not UTF-8; save the file as UTF-8 text"):
        load_settings(path)


def test_sums_in_two_currencies_are_refused(tmp_path):
    (only,) = problems(tmp_path, GOOD + '[economics]\nprice = "11 USD/bu"\ninvestment = "9000 EUR"\n')
    assert "EUR and USD" in only


def test_settings_cannot_be_changed(tmp_path):
    settings = load_settings(write(tmp_path, GOOD))
    with pytest.raises(ValueError, match="frozen"):
        settings.clean.max_gap_s = 3.0


def test_every_default_stands_with_its_reason():
    text, values = read_toml(config_folder() / "defaults.toml")
    lines = [line for line in text.splitlines() if "=" in line and not line.startswith("#")]
    assert all("#" in line for line in lines), [line for line in lines if "#" not in line]
    assert sum(len(part) for part in values.values()) == len(lines)
