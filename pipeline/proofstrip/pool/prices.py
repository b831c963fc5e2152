"""One set of prices for all trials, in the place of each trial's own."""

from dataclasses import dataclass, replace
from pathlib import Path

from proofstrip.config import EconomicsPart
from proofstrip.crops import Crop
from proofstrip.economics import Beside, Payback, price_gain
from proofstrip.errors import SettingsError
from proofstrip.pool.answer import PooledAnswer, PoolResult
from proofstrip.pool.choose import fold
from proofstrip.pool.sites import Site, SiteList, SiteMoney

ONE_SD = 0.6827  # what one standard error on either side covers


@dataclass(frozen=True)
class Prices:
    """What all trials are priced by.

    Attributes
    ----------
    economics : EconomicsPart
        Its costs are found by the names of treatments and control.
    crop : Crop
    source : pathlib.Path
        The file, for messages.
    """

    economics: EconomicsPart
    crop: Crop
    source: Path

    def of_gain(self, names: tuple[str, str], gain: float, ends: tuple[float, float], beside: Beside) -> Payback:
        """Price a difference in kg/ha of a treatment and its control, with an interval."""
        meant = {fold(name): role for name, role in zip(names, ("treatment", "control"), strict=True)}
        cost = {meant[fold(name)]: sum_ for name, sum_ in self.economics.cost.items() if fold(name) in meant}
        return price_gain(
            gain,
            self.crop,
            self.economics.model_copy(update={"cost": cost, "delivery": None}),
            *ends,
            beside,
        )


def price_sites(named: SiteList, prices: Prices) -> SiteList:
    """Price every trial's yield difference alike.

    Parameters
    ----------
    named : SiteList
        Sites without a difference in kg/ha lose what money they had: two kinds of prices are not pooled.
    prices : Prices

    Returns
    -------
    SiteList

    Raises
    ------
    SettingsError
        When a cost names a treatment that no trial has, or a bushel price meets a crop without a bushel.

    Notes
    -----
    The grain is taken to be paid as stated, at standard moisture: [economics.delivery] is left aside.
    """
    known = {fold(name): name for site in named.sites for name in (site.treatment, site.control)}
    problems = [
        f"[economics.cost] names {name!r}; the pooled trials have {', '.join(map(repr, known.values()))}"
        for name in prices.economics.cost
        if fold(name) not in known
    ]
    if problems:
        raise SettingsError(prices.source, problems)
    return replace(named, sites=tuple(_price(site, prices) for site in named.sites))


def _price(site: Site, prices: Prices) -> Site:
    """Price one site; its word is found anew from its money."""
    if site.difference_kg_ha is None or site.se_kg_ha is None:
        return replace(site, money=None, verdict="")
    gain, error = site.difference_kg_ha, site.se_kg_ha
    priced = prices.of_gain((site.treatment, site.control), gain, (gain - error, gain + error), Beside(ONE_SD))
    low, high = priced.gain_per_ac_low, priced.gain_per_ac_high
    if low is None or high is None:
        return replace(site, money=None, verdict="")
    outlay = "none" if not priced.investment else "before" if priced.area_ac is None else "included"
    money = SiteMoney(
        currency=priced.currency,
        gain_per_ac=priced.gain_per_ac if outlay == "before" else priced.net_gain_per_ac,
        se_per_ac=(high - low) / 2,
        outlay=outlay,
        outlay_per_ac=priced.gain_per_ac - priced.net_gain_per_ac,
        price_per_t=priced.price_per_t,
        price_per_bu=priced.price_per_bu,
    )
    return replace(site, money=money, verdict="")


def price_pooled(result: PoolResult, prices: Prices) -> PoolResult:
    """Price the pooled yield: break-even acres and pay-back time, with their intervals.

    Parameters
    ----------
    result : PoolResult
    prices : Prices

    Returns
    -------
    PoolResult
    """

    def price(answer: PooledAnswer) -> PooledAnswer:
        part = answer.yields
        if part is None:
            return answer
        names = answer.treatment, answer.control
        beside = Beside(result.settings.confidence, df=part.df)
        return replace(answer, payback=prices.of_gain(names, part.estimate, (part.low, part.high), beside))

    return replace(result, answers=tuple(price(answer) for answer in result.answers))
