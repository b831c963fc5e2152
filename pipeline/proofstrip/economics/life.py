"""An outlay over the life of the thing: net present value and rate of return."""

from dataclasses import dataclass

from scipy import optimize

from proofstrip.economics.budget import capital_recovery, capital_recovery_factor
from proofstrip.economics.spread import Spread
from proofstrip.units import HA_PER_ACRE


@dataclass(frozen=True)
class LifeWorth:
    """What an outlay comes to over its life on the user's area.

    Attributes
    ----------
    years, salvage, interest_pct : float
    yearly_cost : float
        Depreciation and interest as one equal sum [currency a year].
    gain_per_ac, gain_per_ha, gain_per_ac_low, gain_per_ac_high : float or None
        The gain less the yearly cost over the area.
    npv, npv_low, npv_high : float or None
        Net present value [currency].
    irr_pct, irr_pct_low, irr_pct_high : float or None
        Interest that the outlay earns a year; none where the money does not come back at all [%].
    pays_chance : float or None
        Chance that the net present value is above zero.
    """

    years: float
    salvage: float
    interest_pct: float
    yearly_cost: float
    gain_per_ac: float
    gain_per_ac_low: float | None
    gain_per_ac_high: float | None
    gain_per_ha: float
    npv: float
    npv_low: float | None
    npv_high: float | None
    irr_pct: float | None
    irr_pct_low: float | None
    irr_pct_high: float | None
    pays_chance: float | None


@dataclass(frozen=True)
class Outlay:
    """A sum spent once, and what is left of it.

    Attributes
    ----------
    price, salvage : float
        [currency]
    years : float
        It lasts.
    interest_pct : float
        A year [%].
    """

    price: float
    salvage: float
    years: float
    interest_pct: float

    @property
    def yearly_cost(self) -> float:
        """Depreciation and interest as one equal sum [currency a year]."""
        return capital_recovery(self.price, self.salvage, self.interest_pct, self.years)


def net_present_value(outlay: Outlay, yearly: float, rate: float | None = None) -> float:
    """Worth today of an outlay that earns an equal sum each year.

    Parameters
    ----------
    outlay : Outlay
    yearly : float
        Earned at the end of each year [currency].
    rate : float, optional
        Share a year; not given: the outlay's own interest.

    Returns
    -------
    float
        yearly / capital recovery factor + salvage / (1 + rate)^years - price [currency]

    Examples
    --------
    >>> round(net_present_value(Outlay(1000.0, 0.0, 1, 20.0), 1320.0), 6)
    100.0
    """
    share = outlay.interest_pct / 100 if rate is None else rate
    earned = yearly / capital_recovery_factor(100 * share, outlay.years)
    return float(earned + outlay.salvage * (1 + share) ** -outlay.years - outlay.price)


def rate_of_return(outlay: Outlay, yearly: float) -> float | None:
    """Interest at which the net present value is zero.

    Parameters
    ----------
    outlay : Outlay
    yearly : float
        [currency a year]

    Returns
    -------
    float or None
        [%]; none where what comes back does not reach the outlay, or nothing was laid out.

    Examples
    --------
    >>> round(rate_of_return(Outlay(1000.0, 0.0, 1, 0.0), 1200.0), 6)
    20.0
    """
    if outlay.price <= 0 or net_present_value(outlay, yearly, 0.0) < 0:
        return None
    high = 1.0 + yearly / outlay.price
    while net_present_value(outlay, yearly, high) > 0:
        high *= 2
    found = optimize.brentq(lambda rate: net_present_value(outlay, yearly, rate), 0.0, high, xtol=1e-14, maxiter=500)
    return float(100 * found)


def worth_over_life(outlay: Outlay, gain_ha: Spread, area_ha: float, pays_chance: float | None) -> LifeWorth:
    """Say what an outlay comes to over its life.

    Parameters
    ----------
    outlay : Outlay
    gain_ha : Spread
        Gain before the outlay [currency/ha].
    area_ha : float
        Used on a year [ha].
    pays_chance : float or None

    Returns
    -------
    LifeWorth
    """
    ends = (gain_ha.value, gain_ha.low, gain_ha.high)
    npv = [None if end is None else net_present_value(outlay, end * area_ha) for end in ends]
    irr = [None if end is None else rate_of_return(outlay, end * area_ha) for end in ends]
    net_ha = gain_ha.scaled(1.0, -outlay.yearly_cost / area_ha)
    net = net_ha.scaled(HA_PER_ACRE)
    assert npv[0] is not None
    return LifeWorth(
        years=outlay.years,
        salvage=outlay.salvage,
        interest_pct=outlay.interest_pct,
        yearly_cost=outlay.yearly_cost,
        gain_per_ac=net.value,
        gain_per_ac_low=net.low,
        gain_per_ac_high=net.high,
        gain_per_ha=net_ha.value,
        npv=npv[0],
        npv_low=npv[1],
        npv_high=npv[2],
        irr_pct=irr[0],
        irr_pct_low=irr[1],
        irr_pct_high=irr[2],
        pays_chance=pays_chance,
    )
