"""Trials in which nothing differs: how often each test says otherwise, and how often the interval holds the truth.

2,000 strip tables a design, and 200 harvests that go the whole way from raw records. Part ``stats`` of
``python -m tests.accuracy``; the quick, seeded versions are in tests/stats/test_simulated_trials.py.
"""

from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofstrip.simulate import SCENARIOS, simulate_harvest
from proofstrip.stats import compare_treatments
from proofstrip.stats.contrasts import Contrasts, contrast_control
from proofstrip.stats.design import Plots
from proofstrip.stats.linear import Fit, fit_blocks, fit_unblocked
from proofstrip.stats.mixed import fit_mixed
from proofstrip.stats.paired import sign_flip_p
from proofstrip.stats.permutation import permutation_p
from tests.accuracy.harvests import plant, walk
from tests.accuracy.page import table

TABLES = 2000
HARVESTS = 200
LEVEL = 0.05
COVERAGE = 0.90
TYPE_1_PCT = (4.0, 6.0)
COVERAGE_PCT = (88.0, 92.0)
DRAWS = 999

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Null:
    """One trial in which nothing differs.

    Attributes
    ----------
    wrong : bool
        Some treatment is called different at 5 %.
    covered : bool or None
        The 90 % intervals hold zero, all of them; none: the test has no interval.
    p, floor : float or None
        Exact p and the smallest that it can be; none where there is none.
    """

    wrong: bool
    covered: bool | None = None
    p: float | None = None
    floor: float | None = None


@dataclass(frozen=True)
class NullScore:
    """How one test did over many null trials."""

    name: str
    trials: int
    wrong_pct: float
    covered_pct: float | None
    floor: float | None
    below_floor: int
    exact: bool


def score_nulls(name: str, nulls: list[Null]) -> NullScore:
    """Put null trials together.

    Parameters
    ----------
    name : str
    nulls : list of Null

    Returns
    -------
    NullScore

    Examples
    --------
    >>> score_nulls("x", [Null(True, False), Null(False, True)]).covered_pct
    50.0
    """
    covered = [null.covered for null in nulls if null.covered is not None]
    exact = [(null.p, null.floor) for null in nulls if null.p is not None and null.floor is not None]
    return NullScore(
        name,
        len(nulls),
        float(100 * np.mean([null.wrong for null in nulls])),
        float(100 * np.mean(covered)) if covered else None,
        min(floor for _, floor in exact) if exact else None,
        sum(p < floor * (1 - 1e-9) for p, floor in exact),
        not covered and bool(exact),
    )


def make_plots(cells: Floats) -> Plots:
    """Take a table of blocks x treatments, empty cells being absent."""
    block, treatment = np.nonzero(np.isfinite(cells))
    names, blocks = (tuple(map(str, range(size))) for size in cells.shape[::-1])
    return Plots(cells[block, treatment], treatment, block, None, names, blocks)


def null_cells(rng: np.random.Generator, blocks: int, treatments: int, block_sd: float) -> Floats:
    """Draw yields that only blocks and chance make different (residual standard deviation 2)."""
    return 60 + rng.normal(0, block_sd, size=(blocks, 1)) + rng.normal(0, 2, size=(blocks, treatments))


def _by_model(fit: Fit, adjusted: bool = False) -> Null:
    """Ask the model's test and interval, the family of comparisons together."""
    wide: Contrasts = contrast_control(fit, COVERAGE)
    wrong = (wide.p_values() if adjusted else wide.p_alone()).min() < LEVEL
    return Null(bool(wrong), not bool(wide.decided.any()))


def _by_exact(answer: tuple[Floats | float, float, int | None]) -> Null:
    """Ask the exact test."""
    p = float(np.min(answer[0]))
    return Null(p < LEVEL, None, p, answer[1])


def _blocks(seed: int, blocks: int, treatments: int, ask: Callable[[Floats], Null]) -> list[Null]:
    """Ask one test about many tables of complete blocks."""
    rng = np.random.default_rng(seed)
    return [ask(null_cells(rng, blocks, treatments, 5)) for _ in range(TABLES)]


def _incomplete(blocks: int, lost: int, block_sd: float) -> list[Null]:
    """Ask Kenward-Roger with Dunnett where strips are lost and blocks are few."""
    rng = np.random.default_rng(blocks)
    nulls = []
    for _ in range(TABLES):
        cells = null_cells(rng, blocks, 4, block_sd)
        cells[np.arange(lost) % blocks, rng.permutation(lost) % 3 + 1] = np.nan
        nulls.append(_by_model(fit_mixed(make_plots(cells)), adjusted=True))
    return nulls


def _unblocked() -> list[Null]:
    """Ask Welch's test where scatter and numbers differ."""
    rng = np.random.default_rng(2)
    treatment = np.repeat([0, 1], [10, 4])
    nulls = []
    for _ in range(TABLES):
        values = 60 + rng.normal(0, np.where(treatment == 0, 1.0, 4.0))
        fit = fit_unblocked(Plots(values, treatment, np.zeros(14, dtype=np.intp), None, ("a", "b"), ()))
        nulls.append(_by_model(fit))
    return nulls


def measure_tables() -> Iterator[NullScore]:
    """Measure every design on strip tables."""
    for pairs in (4, 6, 8):
        yield score_nulls(
            f"{pairs} pairs, t test", _blocks(pairs, pairs, 2, lambda cells: _by_model(fit_blocks(make_plots(cells))))
        )
        yield score_nulls(
            f"{pairs} pairs, sign flips",
            _blocks(pairs, pairs, 2, lambda cells: _by_exact(sign_flip_p(cells[:, 1] - cells[:, 0], DRAWS, 1))),
        )
    yield score_nulls(
        "4 blocks of 5, Dunnett", _blocks(1, 4, 5, lambda cells: _by_model(fit_blocks(make_plots(cells)), True))
    )
    yield score_nulls(
        f"4 blocks of 5, re-randomised ({DRAWS} draws)",
        _blocks(1, 4, 5, lambda cells: _by_exact(permutation_p(make_plots(cells), DRAWS, 1))),
    )
    for blocks, lost, block_sd in ((4, 3, 5.0), (5, 4, 5.0), (5, 4, 0.0), (8, 8, 2.0)):
        name = f"{blocks} blocks of 4, {lost} strips lost, block SD {block_sd:g}, Kenward-Roger and Dunnett"
        yield score_nulls(name, _incomplete(blocks, lost, block_sd))
    yield score_nulls("10 and 4 strips without blocks, scatter 1 and 4, Welch", _unblocked())


def harvest_null(seed: int) -> tuple[Null, Null]:
    """Walk one ordinary harvest without an effect, labels drawn, from raw records to both tests.

    Parameters
    ----------
    seed : int

    Returns
    -------
    tuple of Null
        By the t test, and by sign flips.
    """
    work = walk(simulate_harvest(plant(SCENARIOS["ordinary"], 0.0), seed))
    (found,) = compare_treatments(work.strips, work.settings.trial_map.control, work.settings.stats).differences
    if found.p_value is None or found.low is None or found.high is None:
        raise RuntimeError(f"seed {seed}: six pairs without a test")
    exact = Null(found.p_exact is not None and found.p_exact < LEVEL, None, found.p_exact, found.p_exact_floor)
    return Null(found.p_value < LEVEL, found.low <= 0 <= found.high), exact


def measure_stats(workers: int) -> str:
    """Measure everything and write it as Markdown.

    Parameters
    ----------
    workers : int
        For the harvests.

    Returns
    -------
    str
    """
    scores = list(measure_tables())
    with ProcessPoolExecutor(workers) as pool:
        # Seeds that the cleaning part does not use.
        walked = list(pool.map(harvest_null, range(10_001, 10_001 + HARVESTS), chunksize=5))
    for name, place in (("t test", 0), ("sign flips", 1)):
        scores.append(score_nulls(f"whole pipeline, 6 pairs, {name}", [pair[place] for pair in walked]))
    head = ("test", "null trials", "called different at 5 %, %", "90 % interval holds zero, %", "least p", "met")
    rows = [_row(score) for score in scores]
    return (
        "`python -m tests.accuracy --part stats`: wanted are "
        f"{TYPE_1_PCT[0]:g} to {TYPE_1_PCT[1]:g} % called different (an exact test: no more), intervals that hold zero "
        f"in {COVERAGE_PCT[0]:g} to {COVERAGE_PCT[1]:g} %, and no exact p below the least that the design can give. "
        "Behind ± are two standard errors of the count.\n\n" + table(head, rows)
    )


def _row(score: NullScore) -> tuple[str, ...]:
    """Write one test."""

    def with_error(pct: float) -> str:
        return f"{pct:.1f} ± {2 * np.sqrt(pct * (100 - pct) / score.trials):.1f}"

    covered = "" if score.covered_pct is None else with_error(score.covered_pct)
    floor = (
        "" if score.floor is None else f"{score.floor:.4f}" + (f", {score.below_floor} below" * (score.below_floor > 0))
    )
    return (
        score.name,
        f"{score.trials:,}",
        with_error(score.wrong_pct),
        covered,
        floor,
        "yes" if is_met(score) else "**no**",
    )


def is_met(score: NullScore) -> bool:
    """Tell whether a test kept its promises: exact p comes in steps, so few strips leave it below 5 %.

    Parameters
    ----------
    score : NullScore

    Returns
    -------
    bool
    """
    low = 0.0 if score.exact else TYPE_1_PCT[0]
    met = low <= score.wrong_pct <= TYPE_1_PCT[1] and score.below_floor == 0
    if score.covered_pct is not None:
        met &= COVERAGE_PCT[0] <= score.covered_pct <= COVERAGE_PCT[1]
    return met
