"""One set of prices for all trials, in the place of each trial's own."""

from dataclasses import replace
from pathlib import Path

from proofstrip.config import EconomicsPart
from proofstrip.crops import Crop
from proofstrip.economics import price_gain
from proofstrip.errors import SettingsError
from proofstrip.pool.choose import fold
from proofstrip.pool.sites import Site, SiteList, SiteMoney


def price_sites(named: SiteList, crop: Crop, settings: EconomicsPart, source: Path) -> SiteList:
    """Price every trial's yield difference alike.

    Parameters
    ----------
    named : SiteList
        Sites without a difference in kg/ha lose what money they had: two kinds of prices are not pooled.
    crop : Crop
    settings : EconomicsPart
        Its costs are found by the names of treatments and control.
    source : pathlib.Path
        The file of the prices, for messages.

    Returns
    -------
    SiteList

    Raises
    ------
    SettingsError
        When a cost names a treatment that no trial has, or a bushel price meets a crop without a bushel.

    Notes
    -----
    The grain is taken to be paid as stated, at standard moisture.
    """
    known = {fold(name): name for site in named.sites for name in (site.treatment, site.control)}
    problems = [
        f"[economics.cost] names {name!r}; the pooled trials have {', '.join(map(repr, known.values()))}"
        for name in settings.cost
        if fold(name) not in known
    ]
    if problems:
        raise SettingsError(source, problems)
    return replace(named, sites=tuple(_price(site, crop, settings) for site in named.sites))


def _price(site: Site, crop: Crop, settings: EconomicsPart) -> Site:
    """Price one site; its word is found anew from its money."""
    if site.difference_kg_ha is None or site.se_kg_ha is None:
        return replace(site, money=None, verdict="")
    names = {fold(site.treatment): "treatment", fold(site.control): "control"}
    cost = {names[fold(name)]: amount for name, amount in settings.cost.items() if fold(name) in names}
    gain, error = site.difference_kg_ha, site.se_kg_ha
    priced = price_gain(gain, crop, settings.model_copy(update={"cost": cost}), gain - error, gain + error)
    low, high = priced.gain_per_ac_low, priced.gain_per_ac_high
    if low is None or high is None:
        return replace(site, money=None, verdict="")
    outlay = "none" if not priced.investment else "before" if priced.area_ac is None else "included"
    value = priced.gain_per_ac if outlay == "before" else priced.net_gain_per_ac
    money = SiteMoney(priced.currency, value, (high - low) / 2, outlay, priced.price_per_t, priced.price_per_bu)
    return replace(site, money=money, verdict="")
