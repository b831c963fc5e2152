"""Chances: against the closed form, against a brute-force grid, and in money."""

import numpy as np
import pytest
import scipy.stats
from tests.stats.tables import pair_table, settings

from proofstrip.stats import compare_treatments
from proofstrip.stats.probability import find_posterior, give_probabilities

OLD = [60.0, 62.0, 58.5, 61.0, 59.2, 60.4]
NEW = [61.5, 62.2, 60.5, 61.9, 60.4, 60.1]


def summary() -> tuple[float, float, float, float]:
    """Mean, standard error, standard deviation and df of the log ratios."""
    d = np.log(NEW) - np.log(OLD)
    return d.mean(), d.std(ddof=1) / np.sqrt(6), d.std(ddof=1), 5.0


def test_a_grid_by_brute_force_gives_the_same() -> None:
    # Every pair's own likelihood times both priors on a grid of mu and log sigma: no formula is shared.
    d = np.log(NEW) - np.log(OLD)
    mu = np.linspace(-0.1499, 0.1499, 1500)[:, None]  # no goal lies on the grid
    log_sigma = np.linspace(np.log(0.0005), np.log(0.5), 400)[None, :]
    logs = scipy.stats.norm.logpdf(mu, 0, 0.05) + scipy.stats.norm.logpdf(log_sigma, np.log(0.027), 0.5)
    for value in d:
        logs = logs + scipy.stats.norm.logpdf(value, mu, np.exp(log_sigma))
    weights = np.exp(logs - logs.max())
    share = weights.sum(axis=1) / weights.sum()
    posterior = find_posterior(*summary(), settings())
    for goal in (0.0, 0.01, 0.02):
        assert posterior.above(goal) == pytest.approx(share[mu[:, 0] > goal].sum(), abs=2e-3)
    assert posterior.quantile(0.05) == pytest.approx(np.interp(0.05, share.cumsum(), mu[:, 0]), abs=3e-4)
    gained = (share * np.maximum(np.exp(mu[:, 0]) - np.exp(0.01), 0)).sum()
    assert posterior.mean_excess(0.01) == pytest.approx(gained, rel=1e-3)


def test_a_wide_prior_gives_the_one_sided_p_of_the_t_test() -> None:
    # Flat priors on mu and log sigma: P(mu > 0) = 1 - one-sided p (Gelman et al., Bayesian Data Analysis, section 3.2).
    wide = settings().model_copy(update={"prior_effect_pct": 100.0, "prior_sd_log": 3.0})
    one_sided = scipy.stats.ttest_rel(np.log(NEW), np.log(OLD), alternative="greater").pvalue
    assert find_posterior(*summary(), wide).above(0.0) == pytest.approx(1 - one_sided, abs=2e-3)
    (row,) = give_probabilities(compare_treatments(pair_table(NEW, OLD), "old", settings(), "yield"), (), settings())
    assert row.flat_above_zero == pytest.approx(1 - one_sided, rel=1e-9)
    assert row.above_zero < row.flat_above_zero
    assert row.above_break_even is None


def test_other_years_are_less_sure() -> None:
    posterior = find_posterior(*summary(), settings())
    assert 0.5 < posterior.later(0.03).above(0.0) < posterior.above(0.0)
    assert posterior.later(0.0).above(0.0) == pytest.approx(posterior.above(0.0))


def test_a_trial_of_one_strip_each_gives_no_chances() -> None:
    found = compare_treatments(pair_table(NEW[:1], OLD[:1]), "old", settings(), "yield")
    assert give_probabilities(found, (), settings()) == ()
