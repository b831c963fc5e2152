"""The pooled gain of a payback file: priced as the pool would price it, and refused where there is none."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from scipy import stats

from proofstrip.cli.main import main

TABLE = """\
site,season,crop,treatment,control,difference_pct,se,pairs,difference_bu_ac,se_bu_ac
Hill,2023,soybean,lifters,plain header,4.1,0.9,6,2.1,0.5
Creek,2023,soybean,lifters,plain header,2.5,1.1,5,1.2,0.6
Flat,2024,soybean,lifters,plain header,5.2,0.8,6,2.7,0.4
Ridge,2024,soybean,lifters,plain header,3.0,1.3,4,1.6,0.7
"""
MONEY = """
[economics]
price = "12.00 USD/bu"
investment = "9000 USD"
years = 3
area = "900 ac"
interest_pct = 5
[economics.cost]
Lifters = "1.50 USD/ac"
"""
FILE = 'pool = "pool"\n' + MONEY


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def pooled(tmp_path: Path) -> Path:
    """Pool four trials, priced by the same part that the payback file holds."""
    (tmp_path / "sites.csv").write_text(TABLE, encoding="utf-8")
    (tmp_path / "prices.toml").write_text(MONEY, encoding="utf-8")
    prices = ("--economics", tmp_path / "prices.toml")
    done = call("pool", tmp_path / "sites.csv", *prices, "--out", tmp_path / "pool")
    assert done.exit_code == 0, done.output
    return tmp_path


def payback(folder: Path, text: str = FILE, *options: str) -> Result:
    (folder / "payback.toml").write_text(text, encoding="utf-8")
    return call("payback", folder / "payback.toml", *options)


def change(folder: Path, **values: Any) -> None:
    """Change the first treatment of pool.json."""
    path = folder / "pool" / "pool.json"
    pool = json.loads(path.read_text(encoding="utf-8"))
    pool["treatments"][0] |= values
    path.write_text(json.dumps(pool), encoding="utf-8")


def test_it_is_what_the_pool_itself_finds_at_these_prices(pooled: Path) -> None:
    own = json.loads((pooled / "pool" / "pool.json").read_text(encoding="utf-8"))["treatments"][0]
    entry = json.loads(payback(pooled, FILE, "--json").stdout)
    assert (entry["treatment"], entry["control"]) == ("lifters", "plain header")
    for key in ("gain_per_ac", "gain_per_ac_low", "net_gain_per_ac_high", "break_even_ac", "payback_years_high"):
        assert entry[key] == pytest.approx(own["payback"][key], rel=1e-9)
    assert entry["gain_per_ac"] == pytest.approx(12 * own["yield"]["difference_bu_ac"] - 1.50, rel=1e-9)


def test_chance_is_that_of_the_t_distribution_of_the_trials(pooled: Path) -> None:
    grain = json.loads((pooled / "pool" / "pool.json").read_text(encoding="utf-8"))["treatments"][0]["yield"]
    entry = json.loads(payback(pooled, FILE, "--json").stdout)
    outlay = entry["gain_per_ac"] - entry["net_gain_per_ac"]
    needed = (outlay + 1.50) / 12  # bushels
    t = (grain["difference_bu_ac"] - needed) / grain["se_bu_ac"]
    assert entry["pays_chance"] == pytest.approx(stats.t.cdf(t, 3), rel=1e-6)
    assert entry["pays_chance"] < stats.norm.cdf(t)
    assert np.isfinite(entry["net_gain_per_ac_low"])


def test_page_says_what_was_pooled(pooled: Path) -> None:
    page = payback(pooled).stdout
    assert page.startswith("soybean, lifters against plain header: +")
    assert "mean of four trials over 2023 to 2024" in page
    assert "on another field the true difference is expected at" in page
    change(pooled, fragile=True)
    assert "Without a single one of the trials" in payback(pooled, FILE.replace('"pool"', '"pool/pool.json"')).stdout


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('pool = "pool"', 'pool = "pool"\ngain = "2 bu/ac"', "line 2: [gain] stands beside pool"),
        ('pool = "pool"', 'pool = ""', "line 1: [pool] must not be empty"),
        ("Lifters =", "rollers =", "'rollers'"),
        ("years = 3", "year = 3", "[economics] year is not a setting"),
    ],
)
def test_problems_of_the_file(pooled: Path, old: str, new: str, problem: str) -> None:
    result = payback(pooled, FILE.replace(old, new))
    assert result.exit_code == 2
    assert problem in result.stderr


@pytest.mark.parametrize(
    ("text", "values", "problem"),
    [
        (FILE.replace('"pool"', '"elsewhere"'), {}, "there is no such file"),
        ('treatment = "rollers"\n' + FILE, {}, "treatment 'rollers' is not in it. It has 'lifters'"),
        (FILE, {"yield": None}, "pooled in per cent only"),
        (FILE, {"effect": None}, "fewer than three trials"),
    ],
)
def test_without_a_pooled_gain_nothing_is_priced(pooled: Path, text: str, values: dict[str, Any], problem: str) -> None:
    change(pooled, **values)
    result = payback(pooled, text)
    assert result.exit_code == 1
    assert problem in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.parametrize(("text", "problem"), [("{", "is not JSON"), ("[]", "is not the answer of proofstrip pool")])
def test_a_pool_that_is_something_else(pooled: Path, text: str, problem: str) -> None:
    (pooled / "pool" / "pool.json").write_text(text, encoding="utf-8")
    assert problem in payback(pooled).stderr
