"""``proofstrip payback``."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from proofstrip.cli.main import main

FILE = """crop = "soybean"
gain = "2.4 bu/ac"

[economics]
price = "12.62 USD/bu"
investment = "19990 USD"
years = 1
area = "900 ac"
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "payback.toml"


def run(path: Path, text: str, *arguments: str) -> Result:
    path.write_text(text, encoding="utf-8")
    return CliRunner().invoke(main, ["payback", str(path), *arguments])


def test_json_is_one_entry_of_economics(path: Path) -> None:
    result = run(path, FILE, "--json")
    entry = json.loads(result.stdout)
    assert result.exit_code == 0
    assert entry["currency"] == "USD"
    assert entry["price_per_bu"] == pytest.approx(12.62)
    assert entry["gain_per_ac"] == pytest.approx(30.288)
    assert entry["break_even_ac"] == pytest.approx(660, abs=0.05)
    assert entry["payback_years"] == pytest.approx(19990 / (30.288 * 900))
    names = ("gain_per", "break_even")
    expected = {f"{name}_{area}{end}" for name in names for area in ("ac", "ha") for end in ("", "_low", "_high")}
    assert expected | {"payback_years", "payback_years_low", "payback_years_high"} <= set(entry)
    assert entry["gain_per_ac_low"] is None


def test_page(path: Path) -> None:
    result = run(path, FILE)
    assert result.exit_code == 0
    for part in ("Partial budget, an acre", "30.29 USD", "660 acres a year", "267 ha a year", "0.7 years on 900 acres"):
        assert part in result.stdout


def test_interval(path: Path) -> None:
    text = FILE.replace('gain = "2.4 bu/ac"', 'gain = "2.4 bu/ac"\ngain_low = "-0.3 bu/ac"\ngain_high = "5.1 bu/ac"')
    entry = json.loads(run(path, text, "--json").stdout)
    assert entry["gain_per_ac_low"] == pytest.approx(-0.3 * 12.62)
    assert entry["break_even_ac_low"] == pytest.approx(19990 / (5.1 * 12.62))
    assert entry["break_even_ac_high"] is None
    assert "upwards, without end" in run(path, text).stdout


def test_season_prices_interest_and_life(path: Path) -> None:
    text = FILE.replace('"12.62 USD/bu"', '["11 USD/bu", "13 USD/bu"]') + "interest_pct = 5\nlife_years = 7\n"
    page = run(path, text).stdout
    assert "mean of 2 prices, 12.00 USD/bu" in page
    assert "with 5 % interest" in page
    assert f"{19990 * 0.17282 / 28.8:.0f} acres a year cover the cost of capital over 7 years" in page


@pytest.mark.parametrize("gain", ["161.4 kg/ha", "0.1614 t/ha", "144 lb/ac"])
def test_gain_by_weight(path: Path, gain: str) -> None:
    entry = json.loads(run(path, FILE.replace("2.4 bu/ac", gain), "--json").stdout)
    assert entry["gain_per_ac"] == pytest.approx(30.288, rel=1e-3)


def test_cost_of_the_treatment(path: Path) -> None:
    entry = json.loads(run(path, FILE + '[economics.cost]\ntreatment = "4.50 USD/ac"\n', "--json").stdout)
    assert entry["gain_per_ac"] == pytest.approx(25.788)


def test_crop_without_a_bushel(path: Path) -> None:
    text = FILE.replace("soybean", "dry_bean").replace("2.4 bu/ac", "200 kg/ha").replace("12.62 USD/bu", "800 USD/t")
    assert "800.00 USD/t" in run(path, text).stdout


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        (
            'crop = "soybean"',
            'crop = "soybeans"',
            "line 1: [crop] crop 'soybeans' is not known. Did you mean 'soybean'?",
        ),
        ("2.4 bu/ac", "2.4", "line 2: [gain] '2.4' has no unit"),
        ("2.4 bu/ac", "much", "line 2: [gain] 'much' is not a number and a unit"),
        ("2.4 bu/ac", "2.4 bu/km", "line 2: [gain] unit 'bu/km'"),
        ('gain = "2.4 bu/ac"', 'gain = "2.4 bu/ac"\ngain_low = "1 bu/ac"', "gain_low and gain_high belong together"),
        (
            'gain = "2.4 bu/ac"',
            'gain = "2.4 bu/ac"\ngain_low = "3 bu/ac"\ngain_high = "5 bu/ac"',
            "gain does not lie between gain_low and gain_high",
        ),
        ("12.62 USD/bu", "12.62 EUR/bu", "sums are in EUR and USD; give all of them in one currency"),
        ("years = 1", "year = 1", "line 7: [economics] year is not a setting"),
        ('crop = "soybean"\n', "", "[crop] is missing"),
        ("soybean", "dry_bean", "is in bushels, and dry_bean has no bushel here"),
    ],
)
def test_problems_of_the_file(path: Path, old: str, new: str, problem: str) -> None:
    result = run(path, FILE.replace(old, new))
    assert result.exit_code == 2
    assert problem in result.stderr
    assert "Traceback" not in result.output


def test_no_such_file(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["payback", str(tmp_path / "nothing.toml")])
    assert result.exit_code == 2
    assert "there is no such file" in result.stderr
