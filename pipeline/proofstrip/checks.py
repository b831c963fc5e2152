"""Things that would make the difference something else than the treatment: looked at before the answer is believed."""

import geopandas as gpd
import pandas as pd

from proofstrip.clean import Delay
from proofstrip.errors import Notice
from proofstrip.flags import Flag, has_flag
from proofstrip.moisture import moisture_is_constant
from proofstrip.stats import Check

# Margins are judgement, not measurement: a larger imbalance could by itself make a difference worth arguing about.
MAX_SPEED_PCT = 3.0
MAX_MOISTURE_PT = 0.3
MAX_REMOVED_POINTS = 2.0
MAX_STRADDLE_SHARE = 0.1
MIN_USED_SHARE = 0.5


def check_strips(points: gpd.GeoDataFrame, strips: pd.DataFrame, control: str) -> tuple[Check, ...]:
    """Compare the treatments in everything but yield.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        Cleaned, with strips.
    strips : pandas.DataFrame
        The strip table.
    control : str

    Returns
    -------
    tuple of Check
    """
    filled = strips[strips["records_used"] > 0]
    return (
        _check_direction(filled),
        _check_speed(filled, control),
        _check_moisture(filled, control),
        _check_removed(filled, control),
        _check_straddle(points),
    )


def _check_direction(strips: pd.DataFrame) -> Check:
    """Fail when each treatment had its own direction of travel."""
    name, allowed = "direction_by_treatment", "shared by treatments"
    if strips["treatment"].nunique() < 2 or strips["direction"].nunique() < 2:
        return Check(name, True, 0.0, allowed, "One direction of travel for all strips.")
    own = strips.groupby("treatment")["direction"].agg(set)
    shared = set.intersection(*own)
    if any(not own.iloc[i].isdisjoint(own.iloc[j]) for i in range(len(own)) for j in range(i)):
        note = f"{'Treatments share' if shared else 'Not all treatments share'} their directions of travel."
        return Check(name, True, 0.0, allowed, note)
    told = "; ".join(f"{treatment}: {', '.join(sorted(values))}" for treatment, values in own.items())
    note = (
        f"Every treatment had its own direction of travel ({told}), so the difference may be the direction's and not "
        "the treatment's."
    )
    return Check(name, False, 1.0, allowed, note)


def _against_control(strips: pd.DataFrame, column: str, control: str) -> pd.Series:
    """Give each treatment's mean of a column minus the control's, within blocks where there are blocks."""
    cells = strips.assign(block=strips["block"].fillna("")).groupby(["block", "treatment"])[column].mean().reset_index()
    cells = cells.pivot_table(index="block", columns="treatment", values=column)
    if control not in cells:
        return pd.Series(dtype="float64")
    apart = cells.drop(columns=control).sub(cells[control], axis=0)
    return apart.mean().dropna()


def _check_speed(strips: pd.DataFrame, control: str) -> Check:
    """Fail when a treatment was driven much faster or slower: sensors are not the same at every flow."""
    usual = float(strips.loc[strips["treatment"] == control, "speed_m_s"].mean())
    treatment, value = _furthest(100 * _against_control(strips, "speed_m_s", control) / usual)
    note = f"{treatment} was driven {abs(value):.1f} % {'faster' if value > 0 else 'slower'} than the control."
    return _judge("speed_by_treatment", value, MAX_SPEED_PCT, "%", note)


def _check_moisture(strips: pd.DataFrame, control: str) -> Check:
    """Fail when a treatment's grain was wetter or drier: the correction then carries part of the difference."""
    treatment, value = _furthest(_against_control(strips, "moisture_pct", control))
    word = "wetter" if value > 0 else "drier"
    note = f"The grain of {treatment} was {abs(value):.2f} points of moisture {word} than the control's."
    return _judge("moisture_by_treatment", value, MAX_MOISTURE_PT, "points", note)


def _check_removed(strips: pd.DataFrame, control: str) -> Check:
    """Fail when cleaning took more from one treatment than from another."""
    treatment, value = _furthest(100 * _against_control(strips, "share_removed", control))
    word = "more" if value > 0 else "less"
    note = f"Cleaning removed {abs(value):.1f} points {word} of the records of {treatment} than of the control's."
    return _judge("removed_by_treatment", value, MAX_REMOVED_POINTS, "points", note)


def _furthest(apart: pd.Series) -> tuple[str, float]:
    """Give the treatment that lies furthest from the control, and how far; NaN where there is nothing to compare."""
    if apart.empty:
        return "", float("nan")
    treatment = str(apart.abs().idxmax())
    return treatment, float(apart[treatment])


def _judge(name: str, value: float, limit: float, unit: str, note: str) -> Check:
    """Hold a distance from the control against its margin."""
    allowed = f"within {limit:g} {unit}"
    if pd.isna(value):
        return Check(name, None, None, allowed, "There is nothing to compare.")
    return Check(name, abs(value) <= limit, round(value, 3), allowed, note)


def _check_straddle(points: gpd.GeoDataFrame) -> Check:
    """Fail when many cuts cover two treatments: the map may be shifted, or the header does not fit the strips."""
    inside = points["strip"].notna() & (points["pass_id"] > 0)
    share = float(has_flag(points.loc[inside, "flags"], Flag.STRADDLE).mean()) if inside.any() else 0.0
    note = f"{share:.0%} of the cuts in strips reach over another treatment."
    if share > MAX_STRADDLE_SHARE:
        note += " The map may be shifted, or the header does not fit the strips."
    return Check(
        "straddling_cuts", share <= MAX_STRADDLE_SHARE, round(share, 4), f"up to {MAX_STRADDLE_SHARE:.0%}", note
    )


def look_at_run(
    points: gpd.GeoDataFrame, strips: pd.DataFrame, delays: tuple[Delay, ...], declared_moisture_pct: float | None
) -> tuple[Notice, ...]:
    """Collect what a user should know about the data although the run goes on.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        Cleaned, with strips.
    strips : pandas.DataFrame
        The strip table.
    delays : tuple of Delay
    declared_moisture_pct : float or None
        From the settings.

    Returns
    -------
    tuple of Notice
    """
    return (
        *[_delay_notice(delay) for delay in delays if delay.source == "assumed"],
        *_empty_strips(strips),
        *_thin_strips(strips),
        *_moisture_notices(points, declared_moisture_pct),
    )


def _delay_notice(delay: Delay) -> Notice:
    """Say that a delay is assumed."""
    name = delay.machine if delay.machine.lower().startswith("combine") else f"combine {delay.machine}"
    return Notice(
        "delay_assumed",
        f"The travel delay of {name} is assumed to be {delay.seconds:g} s, because {delay.reason}.",
    )


def _empty_strips(strips: pd.DataFrame) -> list[Notice]:
    """Name the strips without a usable record."""
    empty = strips.loc[strips["records_used"] == 0, "strip"].tolist()
    if not empty:
        return []
    return [
        Notice(
            "strip_empty", f"No usable record lies in strip {', '.join(empty)}; it has no yield and is not compared."
        )
    ]


def _thin_strips(strips: pd.DataFrame) -> list[Notice]:
    """Name the strips of which most records were removed."""
    thin = strips[(strips["records_used"] > 0) & (strips["share_removed"] > 1 - MIN_USED_SHARE)]
    return [
        Notice(
            "strip_thin", f"{row.share_removed:.0%} of the records in strip {row.strip} were removed; look at its map."
        )
        for row in thin.itertuples()
    ]


def _moisture_notices(points: gpd.GeoDataFrame, declared_pct: float | None) -> list[Notice]:
    """Say when moisture was not measured."""
    logged = points["moisture_pct"].dropna()
    if logged.empty:
        return [
            Notice(
                "moisture_missing",
                f"The log has no moisture; {declared_pct:g} %, as declared, stands in for all of it.",
            )
        ]
    if moisture_is_constant(logged):
        return [
            Notice(
                "moisture_constant",
                f"The log says {logged.iloc[0]:g} % moisture throughout: typed in, not measured. If the treatments "
                "differed in moisture, the difference is wrong by about 1.2 % of yield a point.",
            )
        ]
    odd = points.loc[has_flag(points["flags"], Flag.MOISTURE_RANGE), "moisture_pct"]
    if len(odd):
        return [
            Notice(
                "moisture_range",
                f"{len(odd):,} records have a moisture that the crop cannot have ({odd.min():g} to {odd.max():g} %); "
                "the median of their pass stands in.",
            )
        ]
    return []
