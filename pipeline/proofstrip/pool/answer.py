"""The pooled answer of each treatment: effect, yield, money, what one trial less does, and the word it earns."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from proofstrip.economics import Payback
from proofstrip.pool.choose import fold
from proofstrip.pool.sites import LeftOut, Site, SiteList
from proofstrip.pool.synthesis import (
    FEWEST_FOR_SLOPE,
    FEWEST_SITES,
    Pooled,
    Slope,
    fit_slope,
    pool_effects,
)
from proofstrip.pool.variance import Floats, share_variance
from proofstrip.stats.verdict import Word, judge


@dataclass(frozen=True)
class PoolSettings:
    """What the user chose.

    Attributes
    ----------
    confidence : float
        Of every interval.
    power : float
        For the trials still needed.
    covariate : str or None
        Of the trials, to regress the effect on.
    shared_variance : bool
        Give every trial the scatter of all trials together.
    prices : str
        File of the prices that all trials were priced by; empty where each has its own.
    """

    confidence: float
    power: float
    covariate: str | None = None
    shared_variance: bool = False
    prices: str = ""


@dataclass(frozen=True)
class WithoutOne:
    """The pooled effect with one trial left out; none where fewer than three are left.

    Attributes
    ----------
    site : Site
        The one left out.
    effect : Pooled
    money : Pooled or None
    word : str
        What the answer would be.
    """

    site: Site
    effect: Pooled
    money: Pooled | None
    word: Word


@dataclass(frozen=True)
class PooledAnswer:
    """What all trials say about one treatment.

    Attributes
    ----------
    treatment, control : str
    sites : tuple of Site
        By season and name; with shared variance their standard errors are the shared ones.
    effect : Pooled or None
        Of log ratios; none with fewer than three trials, as all below.
    yields : Pooled or None
        [kg/ha]; none unless every trial has it.
    money : Pooled or None
        [currency an acre]; none where ``why_no_money`` says why.
    currency, outlay, why_no_money : str
    without_one : tuple of WithoutOne
    slope : Slope or None
        On the covariate.
    why_no_slope : str
    bartlett_p : float or None
        Of equal scatter, where it is shared.
    payback : Payback or None
        Of the pooled yield, where all trials have one set of prices.
    word : str
    """

    treatment: str
    control: str
    sites: tuple[Site, ...]
    effect: Pooled | None = None
    yields: Pooled | None = None
    money: Pooled | None = None
    currency: str = ""
    outlay: str = ""
    why_no_money: str = ""
    without_one: tuple[WithoutOne, ...] = ()
    slope: Slope | None = None
    why_no_slope: str = ""
    bartlett_p: float | None = None
    payback: Payback | None = None
    word: Word = "refused"

    @property
    def seasons(self) -> list[int]:
        """The seasons, in order."""
        return sorted({site.season for site in self.sites})

    @property
    def fragile(self) -> tuple[WithoutOne, ...]:
        """The trials without which the answer would be another one."""
        return tuple(row for row in self.without_one if row.word != self.word)

    @property
    def chance_of_paying(self) -> float | None:
        """Chance that it pays, or without prices that it yields more, on another field in a season like these."""
        part = self.money or self.effect
        return None if part is None else part.chance_above(0.0)


@dataclass(frozen=True)
class PoolResult:
    """All answers, best first, and what was not pooled.

    Attributes
    ----------
    answers : tuple of PooledAnswer
    chosen : SiteList
    settings : PoolSettings
    """

    answers: tuple[PooledAnswer, ...]
    chosen: SiteList
    settings: PoolSettings

    @property
    def invented(self) -> bool:
        """Whether any trial is invented."""
        return any(site.invented for site in self.chosen.sites)

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """What was not pooled, and why."""
        return self.chosen.left_out


def pool_sites(chosen: SiteList, settings: PoolSettings) -> PoolResult:
    """Pool every treatment over the sites that have it.

    Parameters
    ----------
    chosen : SiteList
    settings : PoolSettings

    Returns
    -------
    PoolResult
        A treatment that pays, or yields more, first; by its pooled effect among equals.
    """
    groups: dict[str, list[Site]] = {}
    for site in sorted(chosen.sites, key=lambda site: (site.season, fold(site.trial), fold(site.place))):
        groups.setdefault(fold(site.treatment), []).append(site)
    answers = [_answer(sites, settings) for sites in groups.values()]
    order = ("pays", "higher", "not_settled", "does_not_pay", "lower", "refused")
    answers.sort(key=lambda row: (order.index(row.word), -row.effect.estimate if row.effect else 0.0, row.treatment))
    return PoolResult(tuple(answers), chosen, settings)


def _answer(sites: list[Site], settings: PoolSettings) -> PooledAnswer:
    """Pool one treatment."""
    bartlett = None
    if settings.shared_variance and len(sites) > 1:
        sites, bartlett = _share(sites)
    head = PooledAnswer(sites[0].treatment, sites[0].control, tuple(sites), bartlett_p=bartlett)
    if len(sites) < FEWEST_SITES:
        return head
    money, why = _pool_money(sites, settings.confidence)
    slope, why_no_slope = _regress(sites, settings)
    first = sites[0].money
    answer = replace(
        head,
        effect=_pool_of(sites, settings.confidence),
        yields=_pool_yields(sites, settings.confidence),
        money=money,
        currency=first.currency if money and first else "",
        outlay=first.outlay if money and first else "",
        why_no_money=why,
        without_one=_leave_out(sites, settings.confidence),
        slope=slope,
        why_no_slope=why_no_slope,
    )
    return replace(answer, word=_word(answer.effect, answer.money))


def site_interval(site: Site, confidence: float) -> tuple[float, float]:
    """Give the ends of a site's own interval, as log ratios.

    Parameters
    ----------
    site : Site
    confidence : float

    Returns
    -------
    tuple of float
    """
    reach = float(stats.t.ppf((1 + confidence) / 2, site.df)) * site.se
    return site.log_ratio - reach, site.log_ratio + reach


def site_word(site: Site, confidence: float) -> str:
    """Give a trial's own answer: its run's word, or else the same rule on its money or its difference.

    Parameters
    ----------
    site : Site
    confidence : float

    Returns
    -------
    str
    """
    if site.verdict:
        return site.verdict
    money = None
    if site.money is not None:
        reach = float(stats.t.ppf((1 + confidence) / 2, site.df)) * site.money.se_per_ac
        money = (site.money.gain_per_ac - reach, site.money.gain_per_ac + reach)
    return judge(site_interval(site, confidence), money)


def _arrays(
    sites: Sequence[Site], value: Callable[[Site], float], error: Callable[[Site], float]
) -> tuple[Floats, Floats]:
    """Give effects and squared standard errors."""
    return np.array([value(site) for site in sites]), np.array([error(site) for site in sites]) ** 2


def _pool_of(sites: Sequence[Site], confidence: float) -> Pooled:
    """Pool the log ratios."""
    return pool_effects(*_arrays(sites, lambda site: site.log_ratio, lambda site: site.se), confidence)


def _pool_yields(sites: Sequence[Site], confidence: float) -> Pooled | None:
    """Pool the differences in kg/ha, where every site has one."""
    known = [(s.difference_kg_ha, s.se_kg_ha) for s in sites if s.difference_kg_ha is not None and s.se_kg_ha]
    if len(known) < len(sites):
        return None
    table = np.array(known)
    return pool_effects(table[:, 0], table[:, 1] ** 2, confidence)


def _pool_money(sites: Sequence[Site], confidence: float) -> tuple[Pooled | None, str]:
    """Pool the gains an acre, or say why they cannot be."""
    moneys = [site.money for site in sites if site.money is not None]
    if not moneys:
        return None, "No trial has prices, so nothing is said of money. --economics FILE.toml prices all trials alike."
    if len(moneys) < len(sites):
        names = "; ".join(site.name for site in sites if site.money is None)
        return None, f"Money is not pooled: there are no prices, or no yields that prices could be put on, for {names}."
    currencies = sorted({money.currency for money in moneys})
    if len(currencies) > 1:
        return None, f"Money is not pooled: the trials are priced in {' and '.join(currencies)}."
    if len({money.outlay for money in moneys}) > 1:
        return None, (
            "Money is not pooled: some trials count the outlay in and others do not. Give all of them investment and "
            "area in [economics], or none of them."
        )
    gains = np.array([money.gain_per_ac for money in moneys])
    return pool_effects(gains, np.array([money.se_per_ac for money in moneys]) ** 2, confidence), ""


def _word(effect: Pooled | None, money: Pooled | None) -> Word:
    """Apply the rule of a single trial to the pooled interval."""
    yields = (None, None) if effect is None else (effect.low, effect.high)
    return judge(yields, None if money is None else (money.low, money.high))


def _leave_out(sites: Sequence[Site], confidence: float) -> tuple[WithoutOne, ...]:
    """Pool again without each site in turn."""
    if len(sites) <= FEWEST_SITES:
        return ()
    rows = []
    for place, site in enumerate(sites):
        rest = [*sites[:place], *sites[place + 1 :]]
        effect = _pool_of(rest, confidence)
        money, _ = _pool_money(rest, confidence) if all(one.money for one in sites) else (None, "")
        rows.append(WithoutOne(site, effect, money, _word(effect, money)))
    return tuple(rows)


def _regress(sites: Sequence[Site], settings: PoolSettings) -> tuple[Slope | None, str]:
    """Regress the log ratios on the covariate, or say why not."""
    name = settings.covariate
    if name is None:
        return None, ""
    known = [site for site in sites if name in site.covariates]
    if len(known) < len(sites):
        missing = "; ".join(site.name for site in sites if name not in site.covariates)
        return None, f"There is no {name} for {missing}."
    values = np.array([site.covariates[name] for site in sites])
    if len(sites) < FEWEST_FOR_SLOPE or np.ptp(values) == 0:
        return None, (
            f"A slope needs {FEWEST_FOR_SLOPE} trials or more that differ in {name}; there are {len(sites)}, with "
            f"{len(set(values.tolist()))} values of it."
        )
    effects, variances = _arrays(sites, lambda site: site.log_ratio, lambda site: site.se)
    return fit_slope(effects, variances, values, settings.confidence), ""


def _share(sites: Sequence[Site]) -> tuple[list[Site], float]:
    """Give all sites the scatter of all of them together, in log ratios, kg/ha and money alike."""
    df, pairs = np.array([site.df for site in sites]), np.array([site.pairs for site in sites])
    shared, p = share_variance(np.array([site.se for site in sites]) ** 2, df, pairs)
    rows = []
    for site, se in zip(sites, np.sqrt(shared).tolist(), strict=True):
        scale = se / site.se
        money = None if site.money is None else replace(site.money, se_per_ac=scale * site.money.se_per_ac)
        own = None if site.se_kg_ha is None else scale * site.se_kg_ha
        rows.append(replace(site, se=se, df=float(df.sum()), se_kg_ha=own, money=money))
    return rows, p
