"""``proofstrip start``: a draft that says what is open, and runs once it is filled in."""

import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pydantic import BaseModel

from proofstrip.cli.main import main
from proofstrip.config import load_settings
from proofstrip.config_money import DeliveryPart, EconomicsPart
from proofstrip.errors import SettingsError
from proofstrip.read import read_harvest, read_trial_map

SAMPLE = Path(__file__).resolve().parents[2] / "sample_fields/sorghum_lifters"


def start(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["start", *map(str, arguments)])


@pytest.fixture
def raw(tmp_path: Path) -> Path:
    """Put a raw file whose headers say no units into a folder of its own."""
    (tmp_path / "raw").mkdir()
    head, _, rows = (SAMPLE / "harvest.csv").read_text().partition("\n")
    (tmp_path / "raw/log.csv").write_text(re.sub(r" \([^)]*\)", "", head) + "\n" + rows)
    return tmp_path / "raw/log.csv"


def test_draft_is_asked_for_what_only_the_user_knows(raw: Path, tmp_path: Path) -> None:
    result = start(raw, "--to", tmp_path / "trial.toml")
    assert result.exit_code == 0
    with pytest.raises(SettingsError) as fault:
        load_settings(tmp_path / "trial.toml")
    assert len(fault.value.problems) == 2
    assert all(word in str(fault.value) for word in ("[trial] name", "[trial] crop"))


def test_draft_that_is_filled_in_reads_the_trial(raw: Path, tmp_path: Path) -> None:
    trial = tmp_path / "trial.toml"
    start(raw, "--map", SAMPLE / "trial_map.geojson", "--crop", "sorghum", "--to", trial)
    text = trial.read_text()
    assert 'control = ""                    # one of "lifting fingers", "plain header"' in text
    text = text.replace('name = ""', 'name = "Invented"').replace('control = ""', 'control = "plain header"')
    text = text.replace("# swath = ", "swath = ").replace(
        '# mass_flow = { column = "Mass flow", unit = "lb/s" }', 'mass_flow = { column = "Mass flow", unit = "lb/s" }'
    )
    trial.write_text(text)
    settings = load_settings(trial)
    assert settings.harvest.files == ("raw/log.csv",)
    assert settings.trial.season == 2024
    strips = read_trial_map(settings.trial_map, settings.folder).strips
    points = read_harvest(settings.harvest, settings.folder, settings.trial.crop, strips.crs).points
    assert len(strips) == 12
    assert len(points) == len((SAMPLE / "harvest.csv").read_text().splitlines()) - 1


def names(model: type[BaseModel]) -> set[str]:
    """Give the keys of a part as a user writes them."""
    return {str(field.alias or name) for name, field in model.model_fields.items()}


def test_draft_lists_every_line_of_the_money_and_each_is_right(raw: Path, tmp_path: Path) -> None:
    start(raw, "--to", tmp_path / "trial.toml")
    text = (tmp_path / "trial.toml").read_text()
    lines = text[text.index("# [economics]") :].splitlines()
    assert all(line.startswith("#") and len(line) <= 120 for line in lines)
    money = tomllib.loads("\n".join(line.removeprefix("#").removeprefix(" ") for line in lines))["economics"]
    assert set(money) == names(EconomicsPart)
    assert set(money["delivery"]) == names(DeliveryPart)
    part = EconomicsPart.model_validate(money | {"area": "900 ac", "price": "12 USD/bu"})
    assert (part.currency, part.years, part.life_years) == ("USD", 1.0, 10.0)


def test_file_that_is_there_is_left_alone(raw: Path, tmp_path: Path) -> None:
    (tmp_path / "trial.toml").write_text("mine")
    result = start(raw, "--to", tmp_path / "trial.toml")
    assert result.exit_code == 2
    assert "is there already" in result.output
    assert (tmp_path / "trial.toml").read_text() == "mine"


def test_folder_that_is_not_there_is_named(raw: Path, tmp_path: Path) -> None:
    result = start(raw, "--to", tmp_path / "nowhere" / "trial.toml")
    assert result.exit_code == 2
    assert isinstance(result.exception, SystemExit)
    assert "there is no folder" in result.output


def test_raw_file_that_cannot_be_read_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("")
    result = start(tmp_path / "log.csv", "--to", tmp_path / "trial.toml")
    assert result.exit_code == 1
    assert not (tmp_path / "trial.toml").exists()
