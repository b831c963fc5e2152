"""The trial file that the harvest of a layout is run with."""

from proofstrip.config import EconomicsPart, load_defaults
from proofstrip.config_money import DeliveryPart, Price
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
    lines = ["[economics]", f"price = {_write_price(prices.price)}"]
    if prices.investment.currency:
        lines.append(f"investment = {_write_money(prices.investment)}")
    if prices.years_given:
        lines.append(f"years = {prices.years:g}")
    if prices.area_ha is not None:
        area, unit = (prices.area_ha / HA_PER_ACRE, "ac") if units == "us" else (prices.area_ha, "ha")
        lines.append(f'area = "{area:.10g} {unit}"')
    if prices.life_years is not None:
        lines.append(f"life_years = {prices.life_years:g}")
    lines.append(f"interest_pct = {prices.interest_pct:g}")
    if prices.salvage.currency:
        lines.append(f"salvage = {_write_money(prices.salvage)}")
    for name in ("repairs", "fuel", "wage", "savings"):
        sum_ = getattr(prices, name)
        lines += [] if sum_ is None else [f"{name} = {_write_money(sum_)}"]
    if prices.labour_h_ha is not None:
        lines.append(f'labour = "{prices.labour_h_ha:.10g} h/ha"')
    if prices.cost:
        lines += ["[economics.cost]", *(f"{quote(name)} = {_write_money(cost)}" for name, cost in prices.cost.items())]
    if prices.delivery is not None:
        lines += _write_delivery(prices.delivery)
    return [*lines, ""]


def _write_price(price: Price) -> str:
    """Write a price as it was given."""
    if price.average is not None:
        return f"[{', '.join(_write_money(one) for one in price.average)}]"
    if price.seasons is not None:
        return f"{{ seasons = [{', '.join(_write_money(one) for one in price.seasons)}] }}"
    named = {name: getattr(price, name) for name in ("low", "likely", "high", "mean", "sd")}
    return f"{{ {', '.join(f'{name} = {_write_money(one)}' for name, one in named.items() if one is not None)} }}"


def _write_delivery(delivery: DeliveryPart) -> list[str]:
    """Write how the buyer settles grain."""
    lines = ["[economics.delivery]"]
    lines += [] if delivery.moisture_pct is None else [f"moisture_pct = {delivery.moisture_pct:g}"]
    lines += [] if delivery.shrink_pct is None else [f"shrink_pct = {delivery.shrink_pct:g}"]
    lines += [] if delivery.drying is None else [f"drying = {_write_money(delivery.drying)}"]
    if delivery.discount:
        steps = (f"{{ above_pct = {step.above_pct:g}, off = {_write_money(step.off)} }}" for step in delivery.discount)
        lines.append(f"discount = [{', '.join(steps)}]")
    if delivery.dockage_pct:
        lines.append("[economics.delivery.dockage_pct]")
        lines += [f"{quote(name)} = {share:g}" for name, share in delivery.dockage_pct.items()]
    return lines


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
