"""What a layout is and what it can find, in words."""

from proofstrip.layout.expect import BreakEven, Expectation
from proofstrip.layout.plan import Plan
from proofstrip.layout.settings import LayoutSettings
from proofstrip.layout.words import say_direction, say_length
from proofstrip.report.words import KG_HA_PER_LB_AC


def say_layout(plan: Plan, settings: LayoutSettings, found: Expectation) -> str:
    """Say what a layout is and what it can find.

    Parameters
    ----------
    plan : Plan
    settings : LayoutSettings
    found : Expectation

    Returns
    -------
    str
        Lines for a terminal.
    """
    units, strips = settings.report.units, plan.strips
    low, high = (say_length(float(end), units) for end in (strips["length_m"].min(), strips["length_m"].max()))
    length = low if low == high else f"{low} to {high}"
    passes = settings.header_passes
    order = [" ".join(own["treatment"].str.cat(sep=" | ").split()) for _, own in strips.groupby("block", sort=False)]
    lines = [
        f"{len(strips)} strips in {settings.strips.replicates} blocks, each "
        f"{say_length(settings.strip_width_m, units)} wide and {length} long, "
        f"harvested in {passes} pass{'es' if passes > 1 else ''} of {say_length(settings.machines.header_m, units)}.",
        f"From the left, looking {say_direction(plan.heading_deg)} ({plan.heading_deg % 360:.1f} degrees):",
        *(f"  B{number:<3} {said}" for number, said in enumerate(order, start=1)),
        *say_expectation(settings, found),
    ]
    return "\n".join(lines)


def say_expectation(settings: LayoutSettings, found: Expectation) -> list[str]:
    """Say which difference the design finds, and what breaking even would need.

    Parameters
    ----------
    settings : LayoutSettings
    found : Expectation

    Returns
    -------
    list of str
        Sentences.
    """
    at = f"in {found.power:.0%} of trials, at {found.confidence:.0%} confidence"
    in_yield = f" ({_say_yield(found.detectable_kg_ha, settings)})" if found.detectable_kg_ha is not None else ""
    lines = [f"A true difference of {found.detectable_pct:.1f} %{in_yield} or more is found {at}."]
    if found.assumed:
        low, high = found.detectable_range_pct
        lines.append(
            f"Assumed for that: two strips of a block differ by {found.sd_pct:g} % (SD) without any treatment, as in "
            f"simulated strips. With a steadier monitor it is {low:.1f} %, with a worse one {high:.1f} %; your own "
            "figure goes into [expect] sd_pct."
        )
    if found.exact_floor is not None and found.exact_floor > 1 - found.confidence:
        lines.append(
            f"The exact test of {settings.strips.replicates} pairs cannot give a p-value below {found.exact_floor:.3g} "
            f"whatever the difference; {found.confidence:.0%} confidence there needs more pairs."
        )
    lines += [_say_break_even(one, settings, found) for one in found.break_even]
    prices = settings.economics
    if prices and prices.investment.amount and prices.area_ha is None:
        lines.append("The investment is left out of that: it needs [economics] area.")
    if prices and settings.yield_kg_ha is None:
        lines.append("For the comparison with break-even, give the expected yield: [expect] yield.")
    return lines


def _say_break_even(one: BreakEven, settings: LayoutSettings, found: Expectation) -> str:
    """Hold what breaking even needs against what the design finds."""
    if one.difference_kg_ha <= 0:
        return f"{one.treatment} costs no more than the control, so it needs no gain to pay."
    said = f"{one.treatment} pays from {_say_yield(one.difference_kg_ha, settings)} ({one.difference_pct:.1f} %) on"
    if one.difference_pct >= found.detectable_pct:
        return f"{said}: this design finds a gain of that size."
    blocks = "more than anybody lays out" if one.replicates is None else f"{one.replicates} replicates"
    return (
        f"{said}: a gain between that and {found.detectable_pct:.1f} % would pay and may be missed; it needs {blocks}."
    )


def _say_yield(kg_ha: float, settings: LayoutSettings) -> str:
    """Say a yield in the user's units."""
    bushel = settings.trial.crop.kg_ha_per_bu_ac
    if settings.report.units == "us" and bushel:
        return f"{kg_ha / bushel:.1f} bu/ac"
    if settings.report.units == "us":
        return f"{kg_ha / KG_HA_PER_LB_AC:,.0f} lb/ac"
    return f"{kg_ha:,.0f} kg/ha"
