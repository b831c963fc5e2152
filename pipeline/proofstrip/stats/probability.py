"""How likely it is that the effect exceeds what it must earn: a posterior with a prior that everybody can see and edit.

The likelihood of a log ratio m with standard error s sqrt(c) on df degrees of freedom is
m ~ N(mu, c sigma^2), df s^2 / sigma^2 ~ chi-square(df); of n pairs c = 1/n, df = n - 1, and this is all that the pair
differences say. Prior: mu ~ N(0, prior_effect), log sigma ~ N(log prior_sd, prior_sd_log). sigma runs over a grid; for
each sigma the posterior of mu is normal, so that nothing is drawn and every figure is the same on every machine.

References
----------
Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed., sections 2.5, 3.2 and 9.1 (normal data; decisions).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import optimize, special

from proofstrip.config import StatsPart
from proofstrip.stats.further import Probability
from proofstrip.stats.linear import Floats
from proofstrip.stats.results import Comparison, Difference
from proofstrip.units import HA_PER_ACRE

if TYPE_CHECKING:
    from proofstrip.economics import Payback

SIGMAS = 400  # steps of log sigma; the figures no longer change in the sixth digit
REACH = 8.0  # standard deviations of the prior of log sigma on both sides
SPAN = 0.90  # of the printed interval


@dataclass(frozen=True)
class Posterior:
    """A mixture of normal distributions of mu, one for each sigma of the grid.

    Attributes
    ----------
    weights, means, sds : ndarray
        Log ratios.
    """

    weights: Floats
    means: Floats
    sds: Floats

    def above(self, value: float) -> float:
        """Chance that mu exceeds a value."""
        return float(self.weights @ special.ndtr((self.means - value) / self.sds))

    def quantile(self, share: float) -> float:
        """Value that mu stays below with a given chance."""
        low, high = float((self.means - 40 * self.sds).min()), float((self.means + 40 * self.sds).max())
        return float(optimize.brentq(lambda value: 1 - self.above(value) - share, low, high, xtol=1e-12))

    def later(self, sd: float) -> "Posterior":
        """Give the effect of another year: mu plus a deviation of the year."""
        return Posterior(self.weights, self.means, np.sqrt(self.sds**2 + sd**2))

    def mean_excess(self, value: float) -> float:
        """Mean of exp(mu) - exp(value) where that is positive, counted as nothing where it is not."""
        rise = np.exp(self.means + self.sds**2 / 2) * special.ndtr((self.means + self.sds**2 - value) / self.sds)
        return float(self.weights @ (rise - np.exp(value) * special.ndtr((self.means - value) / self.sds)))

    def mean_ratio(self) -> float:
        """Mean of exp(mu)."""
        return float(self.weights @ np.exp(self.means + self.sds**2 / 2))


def find_posterior(mean: float, se: float, sd: float, df: float, settings: StatsPart) -> Posterior:
    """Give the posterior of the log ratio of treatment to control.

    Parameters
    ----------
    mean, se : float
        Of the log ratio.
    sd : float
        Standard deviation of the log ratio of two strips.
    df : float
        Of ``se``.
    settings : StatsPart
        The prior.

    Returns
    -------
    Posterior
    """
    centre, width = np.log(settings.prior_sd_pct / 100), settings.prior_sd_log
    log_sigma = np.linspace(centre - REACH * width, centre + REACH * width, SIGMAS)
    sigma2 = np.exp(2 * log_sigma)
    tau2, error2 = (settings.prior_effect_pct / 100) ** 2, (se / sd) ** 2 * sigma2
    log_weight = -(((log_sigma - centre) / width) ** 2) / 2 - df * log_sigma - df * sd**2 / (2 * sigma2)
    log_weight -= np.log(error2 + tau2) / 2 + mean**2 / (2 * (error2 + tau2))
    weights = np.exp(log_weight - log_weight.max())
    return Posterior(weights / weights.sum(), mean * tau2 / (error2 + tau2), np.sqrt(error2 * tau2 / (error2 + tau2)))


def give_probabilities(
    comparison: Comparison, paybacks: Sequence["Payback"], settings: StatsPart
) -> tuple[Probability, ...]:
    """Say how likely each treatment yields more, and earns more than it costs.

    Parameters
    ----------
    comparison : Comparison
    paybacks : sequence of Payback
        Empty without prices.
    settings : StatsPart
        The prior, and the scatter of the effect between years.

    Returns
    -------
    tuple of Probability
        Of the treatments that were tested, each by itself.
    """
    priced = {payback.treatment: payback for payback in paybacks}
    return tuple(
        _probability(row, comparison, priced.get(row.treatment), settings)
        for row in comparison.differences
        if row.log_ratio is not None and row.se_log_ratio is not None
    )


def _probability(
    row: Difference, comparison: Comparison, payback: "Payback | None", settings: StatsPart
) -> Probability:
    """Work out one treatment."""
    mean, se, sd, df = row.log_ratio, row.se_log_ratio, row.sd_log_ratio, row.df_log_ratio
    assert mean is not None and se is not None and sd is not None and df is not None
    posterior = find_posterior(mean, se, sd, df, settings)
    control = comparison.mean_of(row.control) or 0.0
    break_even = None if payback is None else _break_even(row, control, payback)
    goal = 0.0 if break_even is None else break_even
    later = posterior.later(settings.between_years_pct / 100)
    losses = _losses(posterior, goal, control, row, payback)
    return Probability(
        treatment=row.treatment,
        above_zero=posterior.above(0.0),
        above_break_even=None if break_even is None else posterior.above(break_even),
        flat_above_zero=float(special.stdtr(df, mean / se)),
        flat_above_break_even=None if break_even is None else float(special.stdtr(df, (mean - break_even) / se)),
        low_pct=float(100 * np.expm1(posterior.quantile((1 - SPAN) / 2))),
        high_pct=float(100 * np.expm1(posterior.quantile((1 + SPAN) / 2))),
        break_even_pct=None if break_even is None else float(100 * np.expm1(break_even)),
        next_year_above=later.above(goal),
        loss_if_adopted_per_ac=losses[0],
        loss_if_left_per_ac=losses[1],
        loss_if_adopted_per_ha=None if losses[0] is None else losses[0] / HA_PER_ACRE,
        loss_if_left_per_ha=None if losses[1] is None else losses[1] / HA_PER_ACRE,
        currency="" if payback is None else payback.currency,
    )


def _break_even(row: Difference, control: float, payback: "Payback") -> float | None:
    """Give the log ratio at which the net gain is zero; none where the control has no yield or nothing would do."""
    if control <= 0 or payback.difference_kg_ha == 0 or row.difference == 0:
        return None
    needed = payback.break_even_difference_kg_ha * row.difference / payback.difference_kg_ha
    return float(np.log1p(needed / control)) if needed > -control else None


def _losses(
    posterior: Posterior, goal: float, control: float, row: Difference, payback: "Payback | None"
) -> tuple[float | None, float | None]:
    """Give the mean loss of adopting where it does not pay, and of leaving it where it would pay [currency an acre]."""
    if payback is None or payback.net_gain_per_ac_low is None or payback.net_gain_per_ac_high is None:
        return None, None
    if row.low is None or row.high is None or row.high <= row.low:
        return None, None
    worth = (payback.net_gain_per_ac_high - payback.net_gain_per_ac_low) / (row.high - row.low)
    gained = posterior.mean_excess(goal)
    lost = gained - (posterior.mean_ratio() - float(np.exp(goal)))
    return worth * control * max(lost, 0.0), worth * control * gained
