"""Settings: every problem of a file at once, each with its line, before any data is read."""

from pathlib import Path

import pytest

from proofstrip.config import config_folder, load_defaults, load_settings
from proofstrip.errors import SettingsError
from proofstrip.toml_file import read_toml

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
    ("name", "near"),
    [("America/Chicgo", "'America/Chicago'"), ("chicago", "'America/Chicago'"), ("New York", "'America/New_York'")],
)
def test_a_time_zone_is_a_name_of_the_iana_database(tmp_path, name, near):
    def harvest(zone: str) -> str:
        return GOOD.replace('files = ["a.csv"]', f'files = ["a.csv"]\ntime_zone = {zone}')

    assert load_settings(write(tmp_path, harvest('"America/Chicago"'))).harvest.time_zone == "America/Chicago"
    (only,) = problems(tmp_path, harvest(f'"{name}"'))
    assert "line 7: [harvest] time_zone must be a name of the IANA time zone database" in only
    assert f"found {name!r}" in only and f"did you mean {near}" in only
    (only,) = problems(tmp_path, harvest("-6"))
    assert "line 7: [harvest] time_zone must be text in quotes; found -6" in only


def test_a_row_header_is_told_whole_and_as_wide_as_the_header(tmp_path):
    def harvest(more: str) -> str:
        return GOOD.replace('files = ["a.csv"]', 'files = ["a.csv"]\n' + more)

    rows = 'rows = 12\nrow_spacing = "30 in"\n'
    settings = load_settings(write(tmp_path, harvest(rows + 'swath = "30 ft"')))
    assert (settings.harvest.rows, settings.harvest.row_spacing_m) == (12, pytest.approx(0.762))
    (only,) = problems(tmp_path, harvest("rows = 12"))
    assert "give both or neither" in only
    (only,) = problems(tmp_path, harvest(rows + 'swath = "20 ft"'))
    assert "12 rows of 0.762 m make 9.14 m, but swath is 6.10 m" in only


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


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("[moisture]\nstandard_pct = 100\n", "standard_pct must be below 100; found 100"),
        ("[moisture]\ndeclared_pct = -1\n", "declared_pct must be 0 or more; found -1"),
        ('[clean]\nmax_gap = "-10 s"\n', "max_gap must be above 0; found -10.0"),
        ('[clean]\nheader_up = "nan s"\n', "header_up 'nan s' is not a finite number"),
        ('[clean]\ncell = "ten m"\n', "cell 'ten m' is not a number and a unit"),
        ('[clean]\ndelay = "11"\n', "delay '11' has no unit; write for example '11 s'"),
        ("[strips]\nmax_other_share = 1.5\n", "max_other_share must be 1 or less; found 1.5"),
        ("[stats]\nconfidence = 95\n", "confidence must be below 1; found 95"),
        ('[report]\nunits = "imperial"\n', "units must be 'us' or 'metric'; found 'imperial'"),
        ('[economics]\nprice = "0 USD/bu"\n', "a price is above zero; found 0"),
        ('[economics]\nprice = "11 USD/ac"\n', "a price has /bu or /t or /kg or /lb or /cwt after the currency"),
        ("[economics]\nprice = 11\n", "needs an amount and a currency in quotes"),
        (
            '[harvest.columns]\nmass_flow = { column = "F", units = "lb/s" }\n',
            "columns.mass_flow.units is not a setting",
        ),
        (
            '[clean]\ndelay_low = "5 s"\ndelay_high = "2 s"\n',
            "delay_low must be below delay_high; found 5 s and 2 s",
        ),
        ('[clean]\nramp_min = "30 s"\n', "ramp_min must be below ramp_max; found 30 s and 25 s"),
        ("[clean]\nslow_share = 3\n", "slow_share must be below fast_share; found 3 and"),
        ("[clean]\ndelay_min_pairs = 2.5\n", "delay_min_pairs must be a whole number; found 2.5"),
        ("[clean]\nnarrow_share = [1]\n", "narrow_share must be a number; found [1]"),
        ("[stats]\nseed = -1\n", "seed must be 0 or more; found -1"),
        ("[economics]\nprice = []\n", "price must not be an empty list; found"),
        ("[season]\nyear = 2024\n", "[season] is not a setting; see docs/settings.md for the names"),
    ],
)
def test_a_value_that_cannot_be_is_refused_on_its_line(tmp_path, more, said):
    (only,) = problems(tmp_path, GOOD + more)
    assert said in only
    assert only.startswith("line 1")


def test_a_key_of_the_models_own_is_no_setting(tmp_path):
    (only,) = problems(tmp_path, GOOD + '[clean]\nmax_gap_s = "20 s"\n')
    assert "line 11: [clean] max_gap_s is not a setting" in only


def test_a_part_that_is_a_number(tmp_path):
    (only,) = problems(tmp_path, "report = 3\n" + GOOD)
    assert only.startswith("line 1: [report] must be a table: its own header in square brackets")
    assert only.endswith("found 3")


def test_no_sentence_is_the_librarys(tmp_path):
    text = GOOD.replace('"A trial"', "7").replace('["a.csv"]', '"a.csv"').replace('"map.gpkg"', "true")
    found = problems(tmp_path, text + "[harvest.columns]\nflow = 3\n[economics]\nprice = '4 USD/bu'\ncost = 5\n")
    assert len(found) == 5
    assert not [line for line in found if "Input" in line or "valid" in line]


def test_a_byte_order_mark_is_fine(tmp_path):
    path = tmp_path / "trial.toml"
    path.write_text(GOOD, encoding="utf-8-sig")
    assert load_settings(path).trial.name == "A trial"


def test_a_folder_is_no_settings_file(tmp_path):
    with pytest.raises(SettingsError, match="there is no such file; give the path of a TOML file"):
        load_settings(tmp_path)


@pytest.mark.parametrize("part", ["clean", "moisture", "strips", "stats", "report"])
def test_every_setting_of_a_part_has_its_default_in_the_file_or_in_a_comment(part):
    text, values = read_toml(config_folder() / "defaults.toml")
    model = type(getattr(load_defaults(), part))
    names = {field.alias or name for name, field in model.model_fields.items()}
    shown = {name for name in names if f"# {name} =" in text}
    assert set(values[part]) | shown == names
    assert not set(values[part]) & shown


@pytest.mark.parametrize(
    ("part", "name", "value"),
    [
        ("clean", "max_gap_s", 10.0),
        ("clean", "jump_m_s", 1.5),
        ("clean", "cell_m", 0.5),
        ("clean", "delay_s", None),
        ("clean", "delay_low_s", -15.0),
        ("moisture", "use", "auto"),
        ("moisture", "declared_pct", None),
        ("strips", "end_trim_m", 0.0),
        ("stats", "confidence", 0.9),
        ("report", "units", "us"),
    ],
)
def test_defaults_are_read_in_si(part, name, value):
    assert getattr(getattr(load_defaults(), part), name) == value


def test_one_setting_changes_and_its_neighbours_stay(tmp_path):
    settings = load_settings(write(tmp_path, GOOD + '[clean]\nmax_gap = "0.5 min"\n'))
    assert settings.clean.max_gap_s == 30.0
    assert settings.clean.model_copy(update={"max_gap_s": 10.0}) == load_defaults().clean


def test_prices_of_several_seasons_and_a_cost_that_saves(tmp_path):
    more = '[economics]\nprice = ["4 USD/bu", "5 USD/bu"]\n[economics.cost]\n"a b" = "-3 USD/ac"\n'
    economics = load_settings(write(tmp_path, GOOD + more)).economics
    assert [price.amount for price in economics.price.sums] == [4.0, 5.0]
    assert economics.cost["a b"].amount == -3.0
    assert economics.currency == "USD"
