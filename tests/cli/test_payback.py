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
    for part in (
        "+ added returns: grain",
        "30.29",
        "660 acres a year",
        "267 ha a year",
        "0.7 years on 900 acres",
        "not financial",
    ):
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
    assert "Over its life of 7 years, with 5 % interest" in page
    assert f"{19990 * 0.17282 / 28.8:.0f} acres a year cover its yearly cost of capital" in page


def test_full_budget_line_by_line(path: Path) -> None:
    text = FILE + (
        'salvage = "4000 USD"\nlife_years = 7\nrepairs = "450 USD/year"\nfuel = "0.30 USD/ac"\n'
        'labour = "0.02 h/ac"\nwage = "25 USD/h"\nsavings = "1 USD/ha"\n'
    )
    entry = json.loads(run(path, text, "--json").stdout)
    lines = {line["name"]: (line["part"], line["per_ac"]) for line in entry["lines"]}
    assert lines == {
        "grain": ("added_returns", pytest.approx(30.288)),
        "fuel": ("added_costs", pytest.approx(0.30)),
        "labour": ("added_costs", pytest.approx(0.50)),
        "operating savings": ("reduced_costs", pytest.approx(0.40468564)),
        "repairs": ("added_costs", pytest.approx(0.50)),
        "outlay": ("added_costs", pytest.approx(19990 / 900)),
    }
    assert entry["gain_per_ac"] == pytest.approx(30.288 - 0.30 - 0.50 + 0.40468564 - 0.50)
    page = run(path, text).stdout
    for said in ("- added costs: labour", "= net gain", "net present value", "rate of return", "4,000 USD left"):
        assert said in page


def test_a_loss_never_pays_back_and_says_so(path: Path) -> None:
    text = FILE.replace("2.4 bu/ac", "-0.5 bu/ac")
    entry = json.loads(run(path, text, "--json").stdout)
    assert (entry["payback_years"], entry["payback_word"], entry["payback_word_high"]) == (None, "infinite", "infinite")
    page = run(path, text).stdout
    assert "never on 900 acres" in page
    assert "It never pays back" in page
    assert "at no price, with this gain" in page


def test_dry_grain_gives_bushels_away(path: Path) -> None:
    # Estadt, Ohio State University 2021: 60 bu/ac at 10 % instead of 13 %, 12 $ a bushel: 23.98 $ an acre (exactly 24).
    text = 'yield = "60 bu/ac"\nmoisture_pct = 10\n' + FILE.replace("12.62", "12.00").replace("2.4 bu/ac", "0 bu/ac")
    assert "2.00 bu/ac of all the grain are not paid, worth 24.00 USD an acre" in run(path, text).stdout


def test_the_same_bytes_every_time(path: Path) -> None:
    text = FILE.replace('"12.62 USD/bu"', '{ low = "10 USD/bu", likely = "12 USD/bu", high = "15 USD/bu" }')
    text = text.replace('gain = "2.4 bu/ac"', 'gain = "2.4 bu/ac"\ngain_low = "1 bu/ac"\ngain_high = "3.8 bu/ac"')
    assert run(path, text, "--json").stdout == run(path, text, "--json").stdout


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
        ("years = 1", 'salvage = "100 USD"', "line 7: [economics] salvage is what the thing is worth after life_years"),
        (
            "years = 1",
            'life_years = 5\nsalvage = "20000 USD"',
            "salvage is more than the investment: 20000 above 19990",
        ),
        ("years = 1", "years = 8\nlife_years = 5", "line 8: [economics] life_years is shorter than years"),
        ("years = 1", 'labour = "0.02 h/ac"', "line 7: [economics] labour needs a wage"),
        ("years = 1", 'wage = "20 USD/h"', "line 7: [economics] wage needs the hours"),
        ('area = "900 ac"', 'repairs = "9 USD/year"', "line 8: [economics] repairs are by year and no area is given"),
        ('"12.62 USD/bu"', '{ low = "9 USD/bu", high = "14 USD/bu" }', "found high, low"),
        ('"12.62 USD/bu"', '{ mean = "9 USD/bu", sd = "4 USD/bu" }', "sd is 44 % of the mean"),
        ('"12.62 USD/bu"', '{ low = "9 USD/bu", likely = "8 USD/bu", high = "14 USD/bu" }', "must rise from low"),
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
