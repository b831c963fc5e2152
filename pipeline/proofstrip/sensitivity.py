"""The answer under other choices: whether the conclusion hangs on how the records were cleaned.

Every choice goes the same way as the headline, from the same track; only one thing is changed. No choice sees a
treatment before the strips are compared.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.assign import assign_strips
from proofstrip.balance import Shift, measure_shifts
from proofstrip.clean import Delay, Track, clean_points
from proofstrip.clean.delay import SHIFTED_ENTRY_S
from proofstrip.clean.track import Floats
from proofstrip.config import Settings
from proofstrip.errors import DataError
from proofstrip.exclusions import exclude_by_hand
from proofstrip.factor import scale_points
from proofstrip.flags import EXCLUDING, Flag, has_flag
from proofstrip.machines import list_cells, machine_shares
from proofstrip.moisture import correct_moisture
from proofstrip.read import Exclusions
from proofstrip.stats import Comparison, Difference, compare_treatments
from proofstrip.stats.verdict import Word
from proofstrip.strips import make_strips, mark_windows

NEAR_S = 2.0
FAR_S = 4.0
# Travel times that combines have, from the cutterbar to the sensor: common practice, no source.
USUAL_S = (8.0, 12.0, 16.0)
STRICT_SPIKE_MAD = 3.5
LEVELS = ("No cleaning", "Causes only", "Strict cleaning")
# Levels that remove less than the headline: they show what it took. Strict cleaning takes weak spots of a treatment.
JUDGED = ("No cleaning", "Causes only")
WHOLE_ENDS = Flag.STRIP_END | Flag.ENTRY_RAMP | Flag.EXIT_RAMP
INFORMING = Flag.SPEED_RANGE | Flag.SPEED_CHANGE | Flag.NARROW_CUT | Flag.MOISTURE_RANGE
# Left out of every choice: records that say nothing, or say it twice, or lie in no strip.
NEVER_USED = Flag.MISSING | Flag.DUPLICATE | Flag.OUTSIDE_STRIP | Flag.EXCLUDED_BY_HAND | Flag.HEADER_UP | Flag.TURN


@dataclass(frozen=True)
class Material:
    """What all choices start from.

    Attributes
    ----------
    points : geopandas.GeoDataFrame
        As read.
    track : Track
    delays : tuple of Delay
        Of the headline.
    cleaned : geopandas.GeoDataFrame
        Points of the headline, with strips and windows.
    strips : geopandas.GeoDataFrame
        The trial map in the CRS of the points.
    settings : Settings
    moisture_pct : array of float
        Of each record's grain, as the headline takes it [%].
    factor : pandas.Series of float or None
        What scale tickets multiply each record's grain by.
    exclusions : Exclusions or None
        What a person excluded.
    """

    points: gpd.GeoDataFrame
    track: Track
    delays: tuple[Delay, ...]
    cleaned: gpd.GeoDataFrame
    strips: gpd.GeoDataFrame
    settings: Settings
    moisture_pct: Floats
    factor: "pd.Series[float] | None" = None
    exclusions: Exclusions | None = None


@dataclass(frozen=True)
class Choice:
    """One other way to the strip yields.

    Attributes
    ----------
    name : str
        Short, for people.
    note : str
        What is changed.
    said : str
        As it stands at the head of a sentence.
    points : callable
        Makes the points, with usable set.
    alike : bool
        What one combine reads higher than another is taken out where the design needs it.
    """

    name: str
    note: str
    said: str
    points: Callable[[Material], gpd.GeoDataFrame]
    alike: bool = True


def walk_again(material: Material) -> gpd.GeoDataFrame:
    """Walk records the whole way from cleaning to the common windows.

    Parameters
    ----------
    material : Material
        With one thing changed.

    Returns
    -------
    geopandas.GeoDataFrame
        Ready for ``make_strips``.
    """
    settings, strips = material.settings, material.strips
    cleaned = clean_points(material.points, material.track, material.delays, settings.clean)
    corrected = scale_points(correct_moisture(cleaned, material.moisture_pct, settings), material.factor)
    assigned = exclude_by_hand(assign_strips(corrected, strips, settings.strips), material.exclusions)
    return mark_windows(assigned, strips, settings.strips)


def _with_usable(points: gpd.GeoDataFrame, excluding: Flag) -> gpd.GeoDataFrame:
    """Decide anew which flags exclude."""
    return points.assign(usable=~has_flag(points["flags"], excluding))


def _with_delays(material: Material, delays: tuple[Delay, ...]) -> gpd.GeoDataFrame:
    """Clean with other travel delays."""
    return walk_again(replace(material, delays=delays))


def _with_logged_width(material: Material) -> gpd.GeoDataFrame:
    """Take the header width set in the display for the cut width everywhere."""
    track = material.track
    logged = material.points["swath_m"].to_numpy(dtype=np.float64)[track.row]
    width = np.where(track.pass_id > 0, np.where(logged > 0, logged, track.swath), 0.0)
    return walk_again(replace(material, track=replace(track, cut_width=width)))


def _with_strict(material: Material) -> gpd.GeoDataFrame:
    """Leave out what only informs, and every spike above 3.5 robust deviations."""
    settings = material.settings.model_copy(
        update={"clean": material.settings.clean.model_copy(update={"spike_mad": STRICT_SPIKE_MAD})}
    )
    return _with_usable(walk_again(replace(material, settings=settings)), EXCLUDING | INFORMING)


def _with_response(material: Material, power: float) -> gpd.GeoDataFrame:
    """Take the sensor to read flow to a power, and give back what the grain then was.

    Reading = c x flow^b in each strip, so log(true A / B) = (log(read A / B) - (b - 1) log(speed x width A / B)) / b.
    """
    points = material.cleaned
    used = points[points["usable"] & points["strip"].notna()]
    sums = used.groupby("strip")[["wet_mass_kg", "duration_s"]].sum()
    flow = sums["wet_mass_kg"] / sums["duration_s"]
    flow = flow[flow > 0]
    factor = (flow / np.exp(np.log(flow).mean())) ** (1 / power - 1)
    own = points["strip"].map(factor).astype("float64").fillna(1.0)
    return points.assign(standard_mass_kg=points["standard_mass_kg"] * own, wet_mass_kg=points["wet_mass_kg"] * own)


RESPONSES = tuple(
    Choice(
        f"Sensor response {power:.2f}",
        f"were the reading to grow by {power:.2f} % where the flow grows by 1 %",
        f"with a sensor response of {power:.2f}",
        partial(_with_response, power=power),
    )
    for power in (0.90, 0.95, 1.00, 1.05, 1.10)
)

CLEANING = (
    Choice(
        "No cleaning",
        "every record inside a strip with the header down counts",
        "without any cleaning",
        lambda material: _with_usable(material.cleaned, NEVER_USED),
    ),
    Choice(
        "Whole strips",
        "no common window: the ends of the strips count too",
        "with the ends of the strips counted too",
        lambda material: _with_usable(material.cleaned, EXCLUDING & ~WHOLE_ENDS),
    ),
    Choice(
        "Causes only",
        "only faults of machine and position remove a record; short spikes of the flow stay",
        "with sudden jumps of the sensor left in that were taken out as faults",
        lambda material: _with_usable(material.cleaned, EXCLUDING & ~Flag.SPIKE),
    ),
    Choice(
        "Strict cleaning",
        "slow, fast and narrow records are left out, and smaller spikes",
        "with strict cleaning",
        _with_strict,
    ),
    Choice(
        "Header width as set",
        "no allowance for overlap between passes",
        "with the header width as set in the display",
        _with_logged_width,
    ),
)


BY_HAND = Choice(
    "Nothing excluded by hand",
    "the records that a person excluded count like all others",
    "with nothing excluded by hand",
    lambda material: walk_again(replace(material, exclusions=None)),
)

# Weighed strips do not depend on how records were cleaned; what is left to ask is what the sensor would have said.
MONITOR = Choice(
    "Yield monitor instead of the scale",
    "the strips' yields as the combine logged them, cleaned",
    "by the yield monitor instead of the scale",
    lambda material: material.cleaned,
)


# Tickets that scale the combine move all its strips alike.
UNSCALED = Choice(
    "Yield monitor without the scale tickets",
    "the strips' yields as the combine logged them, not brought to the scale's level",
    "by the yield monitor without the scale tickets",
    lambda material: scale_points(material.cleaned, None if material.factor is None else 1 / material.factor),
)


# Where combines are taken out of the headline, what the difference would be if they had read alike as they are.
AS_READ = Choice(
    "Combines as they read",
    "nothing is taken out for what one combine reads higher than another",
    "with the combines taken as they read",
    lambda material: material.cleaned,
    alike=False,
)


def delay_choices(delays: tuple[Delay, ...]) -> Iterator[Choice]:
    """Give the other travel delays to look at: the usual ones where it was refused, else around what is applied.

    Parameters
    ----------
    delays : tuple of Delay

    Yields
    ------
    Choice
        Where one combine's delay was refused and another's was not, the first alone gets the usual ones. What is left
        when the display has shifted the records is no machine's travel time, so it is tried either way.
    """
    refused = [delay for delay in delays if delay.source == "assumed" and delay.seconds >= SHIFTED_ENTRY_S]
    if refused:
        whose = "" if len(refused) == len(delays) else f" of {', '.join(delay.whose for delay in refused)}"
        for seconds in USUAL_S:
            other = tuple(replace(delay, seconds=seconds) if delay in refused else delay for delay in delays)
            note = f"the records cannot tell the delay{whose}: were it {seconds:g} s"
            said = f"with a travel delay of {seconds:g} s{whose}"
            yield Choice(f"Travel delay {seconds:g} s", note, said, partial(_with_delays, delays=other))
    if len(refused) == len(delays):
        return
    step = NEAR_S if all(delay.source == "estimated" for delay in delays) else FAR_S
    for change, word in ((-step, "shorter"), (step, "longer")):
        other = tuple(replace(delay, seconds=delay.seconds + change) for delay in delays)
        name = f"Travel delay {step:g} s {word}"
        yield Choice(name, "for every combine", f"with a t{name[1:]}", partial(_with_delays, delays=other))


def list_choices(material: Material) -> tuple[Choice, ...]:
    """Give every other choice for yields from the combine.

    Parameters
    ----------
    material : Material

    Returns
    -------
    tuple of Choice
    """
    by_hand = (BY_HAND,) if material.exclusions is not None and material.exclusions.items else ()
    unscaled = (UNSCALED,) if material.factor is not None else ()
    return (*CLEANING, *by_hand, *delay_choices(material.delays), *RESPONSES, *unscaled)


@dataclass(frozen=True)
class Alternative:
    """The difference under one other choice.

    Attributes
    ----------
    name, note, treatment : str
    difference_kg_ha, low_kg_ha, high_kg_ha, difference_pct : float or None
    moves : bool
        True when the interval lies elsewhere against zero than the headline's.
    shift : Shift or None
        How much further the choice moves the treatment's strips than the control's, for the levels of cleaning that
        are judged.
    said : str
        The choice as it stands at the head of a sentence.
    df : float or None
        Of the interval.
    money : str or None
        pays, does_not_pay or not_settled; refused without an interval, none without prices.
    money_before : str or None
        The same of the headline.
    """

    name: str
    note: str
    treatment: str
    difference_kg_ha: float | None
    low_kg_ha: float | None
    high_kg_ha: float | None
    difference_pct: float | None
    moves: bool
    shift: Shift | None = None
    said: str = ""
    df: float | None = None
    money: Word | None = None
    money_before: Word | None = None


def try_choices(material: Material, headline: Comparison, weighed: bool) -> tuple[Alternative, ...]:
    """Compare the treatments again under every other choice.

    Parameters
    ----------
    material : Material
    headline : Comparison
    weighed : bool
        The headline compares yields from the scale.

    Returns
    -------
    tuple of Alternative
        One for each choice and treatment; a choice that leaves a strip empty or cannot be compared says so.
    """
    found: list[Alternative] = []
    moved: dict[str, pd.DataFrame] = {}
    taken_out = any(row.source == "combine" for row in headline.anova)
    choices = (*list_choices(material), *((AS_READ,) if taken_out else ()))
    for choice in (MONITOR,) if weighed else choices:
        try:
            points = choice.points(material)
            strips = make_strips(points, material.strips, material.settings)
            shares = machine_shares(list_cells(points)) if choice.alike else None
            other = compare_treatments(strips, headline.control, material.settings.stats, machines=shares)
        except DataError as fault:
            lost = replace(choice, note=f"no answer: {fault}")
            found += [_beside(lost, row, None) for row in headline.differences]
            continue
        by_treatment = {row.treatment: row for row in other.differences}
        found += [_beside(choice, row, by_treatment.get(row.treatment)) for row in headline.differences]
        if choice.name in JUDGED:
            moved[choice.name] = strips
    return _with_shifts(tuple(found), material, moved, headline.control) if moved else tuple(found)


def _with_shifts(
    found: tuple[Alternative, ...], material: Material, moved: dict[str, pd.DataFrame], control: str
) -> tuple[Alternative, ...]:
    """Add how much further each judged level moves a treatment's strips than the control's."""
    own = make_strips(material.cleaned, material.strips, material.settings)
    shifts = measure_shifts(own, moved, control, material.settings.stats)
    return tuple(replace(row, shift=shifts.get((row.name, row.treatment))) for row in found)


def _beside(choice: Choice, headline: Difference, other: Difference | None) -> Alternative:
    """Set one other difference beside the headline's."""
    if other is None:
        empty = (None, None, None, None)
        return Alternative(choice.name, choice.note, headline.treatment, *empty, True, said=choice.said)
    return Alternative(
        choice.name,
        choice.note,
        headline.treatment,
        other.difference,
        other.low,
        other.high,
        other.difference_pct,
        _side(headline) != _side(other),
        said=choice.said,
        df=other.df,
    )


def _side(difference: Difference) -> int | None:
    """Tell on which side of zero the interval lies; 0 where it holds zero, none where there is no interval."""
    if difference.low is None or difference.high is None or pd.isna(difference.low):
        return None
    return int(difference.low > 0) - int(difference.high < 0)
