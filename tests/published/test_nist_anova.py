"""The analysis-of-variance sets of NIST's Statistical Reference Datasets, read from the installed scipy.

https://www.itl.nist.gov/div898/strd/anova/anova.html. The sets ask whether sums of squares keep their digits when all
values share their first 7 or 13 digits.
"""

import re
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy.stats
from tests.stats.tables import settings

from proofstrip.stats import compare_treatments
from proofstrip.stats.design import Plots
from proofstrip.stats.linear import fit_unblocked

FOLDER = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"
FILES = sorted(FOLDER.glob("*.dat"))
CERTIFIED = r"{}\s+(\d+)\s+(\S+E[+-]\d+)\s+(\S+E[+-]\d+)(?:\s+(\S+E[+-]\d+))?"
pytestmark = pytest.mark.skipif(not FILES, reason="this scipy was installed without its test data (nist_anova)")


def read_set(path: Path) -> tuple[np.ndarray, np.ndarray, list[float]]:
    """Read treatments, values and the certified df, SS, MS, F of treatments and df, SS, MS of the rest."""
    lines = path.read_text(encoding="ascii").splitlines()
    first, last = map(int, re.search(r"Data\s+\(lines (\d+) to (\d+)\)", "\n".join(lines)).groups())
    rows = np.array([line.split() for line in lines[first - 1 : last] if line.split()], dtype=float)
    text = "\n".join(lines[:60])
    between = re.search(CERTIFIED.format(r"Between \w+"), text)
    within = re.search(CERTIFIED.format(r"Within \w+"), text)
    return rows[:, 0], rows[:, 1], [float(value) for value in (*between.groups(), *within.groups()[:3])]


def make_plots(treatment: np.ndarray, values: np.ndarray) -> Plots:
    """Take the data as strips without blocks."""
    names, codes = np.unique(treatment, return_inverse=True)
    return Plots(values, codes, np.zeros(len(codes), dtype=np.intp), None, tuple(map(str, names)), ())


def exact_sums(treatment: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Sums of squares of the same floating-point numbers in exact fractions."""
    shifted = [Fraction(value) - Fraction(values[0]) for value in values.tolist()]
    groups = {name: [v for v, t in zip(shifted, treatment, strict=True) if t == name] for name in np.unique(treatment)}
    grand = sum(shifted) / len(shifted)
    means = {name: sum(group) / len(group) for name, group in groups.items()}
    between = sum(len(group) * (means[name] - grand) ** 2 for name, group in groups.items())
    within = sum((value - means[name]) ** 2 for name, group in groups.items() for value in group)
    return float(between), float(within)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_certified_values(path: Path) -> None:
    treatment, values, certified = read_set(path)
    between, within, _ = fit_unblocked(make_plots(treatment, values)).anova
    found = [between.df, between.ss, between.ms, between.f, within.df, within.ss, within.ms]
    # Doubles near 1e12 stand 1.2e-4 apart and the scatter of the sets with 13 shared digits is 0.1: what a program
    # reads is no longer the certified decimal data, and 1e-4 is as near as sums of squares of doubles come. See the
    # next test.
    shared = int(re.search(r"(\d+) Constant Leading Digit", path.read_text(encoding="ascii")).group(1))
    assert found == pytest.approx(certified, rel=2e-4 if shared == 13 else 1e-9)


@pytest.mark.parametrize("path", [path for path in FILES if path.stat().st_size < 60_000], ids=lambda path: path.stem)
def test_no_digit_is_lost(path: Path) -> None:
    # Whatever the numbers are that the file's decimals become, the sums of squares of those are right to 1e-9.
    treatment, values, _ = read_set(path)
    between, within, _ = fit_unblocked(make_plots(treatment, values)).anova
    assert (between.ss, within.ss) == pytest.approx(exact_sums(treatment, values), rel=1e-9)


@pytest.mark.parametrize("name", ["SiRstv", "AtmWtAg", "SmLs01", "SmLs04", "SmLs07"])
def test_through_the_front_door(name: str) -> None:
    treatment, values, certified = read_set(FOLDER / f"{name}.dat")
    table = pd.DataFrame({"strip": range(len(values)), "treatment": treatment, "yield": values})
    comparison = compare_treatments(table, "1", settings(permutations=999), "yield")
    assert comparison.design == "unblocked"
    assert comparison.anova[0].df == certified[0]
    assert comparison.anova[0].f == pytest.approx(certified[3], rel=5e-3 if name == "SmLs07" else 5e-9)
