"""The trial file that the harvest of a layout is run with."""

from proofstrip.config import EconomicsPart, load_defaults
from proofstrip.layout.settings import LayoutSettings
from proofstrip.layout.words import say_length
from proofstrip.read.first_draft import quote
from proofstrip.units import HA_PER_ACRE, Money


def write_trial_file(settings: LayoutSettings, map_file: str) -> str:
    """Write a commented trial file, complete but for the raw files of the harvest.

    Parameters
    ----------
    settings : LayoutSettings
    map_file : str
        Name of the trial map beside it.

    Returns
    -------
    str
        TOML.
    """
    trial, units = settings.trial, settings.report.units
    header = say_length(settings.machines.header_m, units).replace(",", "")
    lines = [
        "# The trial file of this layout. After harvest name in files what the display exported, and:",
        "#     proofstrip run trial.toml",
        "",
        "[trial]",
        f"name = {quote(trial.name)}",
        f"field = {quote(trial.field)}",
        f"season = {trial.season}",
        f"crop = {quote(trial.crop.name)}",
        f"notes = {quote(trial.notes)}",
        "",
        "[harvest]",
        'files = []                      # fill in after harvest, for example ["harvest.csv"]',
        f'# swath = "{header}"              # only where the files do not say the header width',
        "",
        "[trial_map]                     # written with this file; the run counts these strips and no guard",
        f"file = {quote(map_file)}",
        'strip = "strip"',
        'treatment = "treatment"',
        'block = "block"',
        f"control = {quote(settings.strips.control)}",
        "",
        "# [scale]                       # a row a load: strip, wet weight (its unit in the header), moisture",
        '# file = "tickets.csv"',
        "",
        *(_write_economics(settings.economics, units) if settings.economics else ()),
        *_write_stats(settings),
        "[report]",
        f"units = {quote(units)}",
        *([f"prepared_by = {quote(settings.report.prepared_by)}"] if settings.report.prepared_by else ()),
        "",
    ]
    return "\n".join(lines)


def _write_economics(prices: EconomicsPart, units: str) -> list[str]:
    """Write prices and costs as they were given."""
    lines = ["[economics]", f"price = [{', '.join(_write_money(price) for price in prices.price)}]"]
    if prices.investment.currency:
        lines.append(f"investment = {_write_money(prices.investment)}")
    lines.append(f"years = {prices.years:g}")
    if prices.area_ha is not None:
        area, unit = (prices.area_ha / HA_PER_ACRE, "ac") if units == "us" else (prices.area_ha, "ha")
        lines.append(f'area = "{area:.10g} {unit}"')
    if prices.life_years is not None:
        lines.append(f"life_years = {prices.life_years:g}")
    lines.append(f"interest_pct = {prices.interest_pct:g}")
    if prices.cost:
        lines += ["[economics.cost]", *(f"{quote(name)} = {_write_money(cost)}" for name, cost in prices.cost.items())]
    return [*lines, ""]


def _write_money(money: Money) -> str:
    """Write a sum."""
    return quote(f"{money.amount:.10g} {money.currency}" + (f"/{money.per}" if money.per else ""))


def _write_stats(settings: LayoutSettings) -> list[str]:
    """Write what differs from the shipped settings of the comparison."""
    stats = settings.stats.model_copy(update={"confidence": settings.confidence})
    shipped = load_defaults().stats
    own = {name: getattr(stats, name) for name in type(stats).model_fields}
    lines = [f"{name} = {value:.10g}" for name, value in own.items() if value != getattr(shipped, name)]
    return ["[stats]", *lines, ""] if lines else []
