"""Things that would make the difference something else than the treatment: looked at before the answer is believed."""

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.balance import compare_column, say_chance
from proofstrip.clean import Delay
from proofstrip.config import StatsPart
from proofstrip.errors import Notice
from proofstrip.exclusions import share_excluded
from proofstrip.flags import FLAGS, Flag, has_flag
from proofstrip.removals import ANY_REASON, Removal
from proofstrip.stats import Check
from proofstrip.stats.moves import CHOICE_CHECK
from proofstrip.stats.wording import list_words
from proofstrip.strips import COMPASS

# Margins, here and below, are judgement, not measurement: a larger imbalance could by itself make a difference worth
# arguing about.
MAX_STRADDLE_SHARE = 0.1
MIN_USED_SHARE = 0.5
# Measured, with the p that goes with it: docs/checks.md.
MAX_REMOVED_POINTS = 1.0
# Slower than this the combine stands: positions alone seem to creep so fast. Common practice, no source.
STANDING_M_S = 0.2
PHRASES = {meaning.name: meaning.phrase for meaning in FLAGS}
NOT_JUDGED = "told, not judged"


def check_strips(
    points: gpd.GeoDataFrame, strips: pd.DataFrame, control: str, settings: StatsPart
) -> tuple[Check, ...]:
    """Compare the treatments in everything but yield.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        Cleaned, with strips.
    strips : pandas.DataFrame
        The strip table.
    control : str
    settings : StatsPart
        Confidence, number and seed of random arrangements.

    Returns
    -------
    tuple of Check
    """
    filled = strips[strips["records_used"] > 0]
    driven = filled["strip"].map
    used = points[points["usable"] & points["strip"].notna()]
    hours, width = driven(_mean_hour(used)), driven(_mean_width(used))
    compared = (filled, control, settings)
    direction = _check_direction(filled, control)
    by_hand = bool(has_flag(points["flags"], Flag.EXCLUDED_BY_HAND).any())
    return (
        direction,
        *([_check_uneven(used, compared)] if direction.passed else []),
        _judge(SPEED, _relative(filled, filled["speed_m_s"], control), compared),
        _judge(MOISTURE, filled["moisture_pct"], compared),
        _judge(WIDTH, _relative(filled, width, control), compared),
        _judge(HOUR, 60 * hours, compared),
        _tell(FLOW, _relative(filled, driven(used.groupby("strip")["mass_flow_kg_s"].mean()), control), compared),
        _judge(STOPS, driven(_stop_seconds(points)).fillna(0.0), compared),
        _judge(RAMPS, driven(_ramp_seconds(points)).fillna(0.0), compared),
        *([_judge(BY_HAND, 100 * driven(share_excluded(points)), compared)] if by_hand else []),
        _check_straddle(points),
    )


@dataclass(frozen=True)
class Margin:
    """What is compared between treatments, how far apart is too far, and how it is said.

    Attributes
    ----------
    name : str
        Of the check.
    limit : float
    unit : str
    note : str
        With places for the treatment, the size of the distance and the word for its side.
    more, less : str
        Words for the sides.
    """

    name: str
    limit: float
    unit: str
    note: str
    more: str
    less: str


SPEED = Margin(
    "speed_by_treatment", 3.0, "%", "The strips of {} were driven {:.1f} % {} than the control's.", "faster", "slower"
)
MOISTURE = Margin(
    "moisture_by_treatment",
    0.3,
    "points",
    "The grain of {} was {:.2f} points of moisture {} than the control's.",
    "wetter",
    "drier",
)
WIDTH = Margin(
    "width_by_treatment", 0.5, "%", "The strips of {} were cut {:.2f} % {} than the control's.", "wider", "narrower"
)
HOUR = Margin(
    "time_by_treatment",
    30.0,
    "minutes",
    "The strips of {} were harvested {:.0f} minutes {} than the control's.",
    "later",
    "earlier",
)
FLOW = Margin(
    "flow_by_treatment",
    0.0,
    "%",
    "The grain flow of {} was {:.1f} % {} than the control's: it should differ as the yield does, and with the speed.",
    "higher",
    "lower",
)
STOPS = Margin(
    "stops_by_treatment",
    30.0,
    "s",
    "In a strip of {} the combine stood {:.0f} s {} than in the control's.",
    "longer",
    "shorter",
)
RAMPS = Margin(
    "ramps_by_treatment",
    2.0,
    "s",
    "A pass of {} counts {:.1f} s {} as filling and emptying than one of the control.",
    "more",
    "less",
)
UNEVEN = Margin(
    "uneven_direction", 50.0, "points", "Of the ground of {}, {:.0f} points {} was cut going", "more", "less"
)
BY_HAND = Margin(
    "excluded_by_treatment",
    2.0,
    "points",
    "Of the records of {}, {:.1f} points {} were excluded by hand than of the control's.",
    "more",
    "fewer",
)


def _mean_hour(used: pd.DataFrame) -> "pd.Series[float]":
    """Give the mean hour at which each strip was harvested."""
    return used.groupby("strip")["time"].mean() / 3600


def _mean_width(used: pd.DataFrame) -> "pd.Series[float]":
    """Give each strip's cut width, weighted by the way."""
    ground = used[used["cut_width_m"] > 0]
    way = (ground["area_m2"] / ground["cut_width_m"]).groupby(ground["strip"]).sum()
    return ground.groupby("strip")["area_m2"].sum() / way


def _stop_seconds(points: pd.DataFrame) -> "pd.Series[float]":
    """Give the time that the combine stood in each strip."""
    standing = points[points["strip"].notna() & (points["speed_m_s"] < STANDING_M_S)]
    return standing.groupby("strip")["duration_s"].sum()


def _ramp_seconds(points: pd.DataFrame) -> "pd.Series[float]":
    """Give the time that a pass of each strip spent filling and emptying, as flagged."""
    inside = points[points["strip"].notna() & (points["pass_id"] > 0)]
    ramps = has_flag(inside["flags"], Flag.ENTRY_RAMP | Flag.EXIT_RAMP)
    seconds = inside["duration_s"].where(ramps, 0.0).groupby(inside["strip"]).sum()
    return seconds / inside.groupby("strip")["pass_id"].nunique()


def _check_uneven(used: pd.DataFrame, compared: tuple[pd.DataFrame, str, StatsPart]) -> Check:
    """Compare the share of ground cut in one of the two directions of travel."""
    heading = np.radians(used["heading_deg"])
    # Twice the angle makes opposite directions one, so their mean is the line of travel: from -90 to 90 degrees.
    line = float(np.arctan2(np.sin(2 * heading).mean(), np.cos(2 * heading).mean()) / 2) if len(used) else 0.0
    along = used["area_m2"].where(np.cos(heading - line) > 0, 0.0).groupby(used["strip"]).sum()
    ground = used.groupby("strip")["area_m2"].sum()
    point = COMPASS[round(np.degrees(line) / 45) % 8]
    margin = replace(UNEVEN, note=f"{UNEVEN.note} {point} than of the control's.")
    return _judge(margin, 100 * compared[0]["strip"].map(along / ground.where(ground > 0)), compared)


def check_removals(removals: tuple[Removal, ...], control: str) -> Check:
    """Fail when cleaning took clearly more records of one treatment than of another.

    Parameters
    ----------
    removals : tuple of Removal
    control : str

    Returns
    -------
    Check
        Its value is the largest distance from the control [points]: of all reasons together within the window, or of
        one reason that fails.
    """
    name, allowed = "removed_by_treatment", f"within {MAX_REMOVED_POINTS:g} points, or as much as chance often does"
    shares = {(row.reason, row.treatment): row.share_records for row in removals}
    apart = [
        (100 * (row.share_records - own), row)
        for row in removals
        if row.treatment != control and row.share_records is not None
        if (own := shares.get((row.reason, control))) is not None
    ]
    total = [pair for pair in apart if pair[1].reason == ANY_REASON]
    if not total:
        return Check(name, None, None, allowed, "There is nothing to compare.")
    # Where nothing is repeated chance cannot be told, and the margin alone decides.
    failed = [pair for pair in apart if abs(pair[0]) > MAX_REMOVED_POINTS and pair[1].seldom is not False]
    value, worst = max(failed or total, key=lambda pair: abs(pair[0]))
    why = "" if worst.reason == ANY_REASON else f" for one reason: {PHRASES[worst.reason]}"
    note = (
        f"Of the records of {worst.treatment}, cleaning removed {abs(value):.1f} points "
        f"{'more' if value > 0 else 'less'} than of the control's{why}."
    )
    p = worst.p_value if worst.p_adjusted is None else worst.p_adjusted
    return Check(name, not failed, round(value, 3), allowed, note + (say_chance(p) if p is not None else ""))


def _relative(strips: pd.DataFrame, values: "pd.Series[float]", control: str) -> "pd.Series[float]":
    """Give values in per cent of the control's mean."""
    return 100 * values / float(values[strips["treatment"] == control].mean())


def _check_direction(strips: pd.DataFrame, control: str) -> Check:
    """Fail, and forbid an answer, when a treatment was never driven in a direction of the control."""
    name, allowed = "direction_by_treatment", "shared by treatments"
    if strips["treatment"].nunique() < 2 or strips["direction"].nunique() < 2:
        return Check(name, True, 0.0, allowed, "One direction of travel for all strips.")
    # A strip driven up and down has both directions.
    own = {
        str(treatment): {part for cell in cells for part in cell.split()}
        for treatment, cells in strips.groupby("treatment")["direction"]
    }
    mine = own.get(control, set())
    apart = [treatment for treatment, found in own.items() if treatment != control and found.isdisjoint(mine)]
    if not apart:
        return Check(name, True, 0.0, allowed, "Treatments share their directions of travel.")
    told = "; ".join(f"{treatment}: {', '.join(sorted(own[treatment]))}" for treatment in [control, *apart])
    note = (
        f"{list_words(apart)} and the control were never driven in the same direction ({told}), so the difference may "
        "be the direction's and not the treatment's."
    )
    # Where another treatment can still be compared fairly, its answer stands and the flag names the others.
    return Check(name, False, float(len(apart)), allowed, note, len(apart) == len(own) - 1)


def _judge(margin: Margin, values: "pd.Series[float]", compared: tuple[pd.DataFrame, str, StatsPart]) -> Check:
    """Hold the treatment that lies furthest from the control against the margin."""
    strips, control, settings = compared
    allowed = f"within {margin.limit:g} {margin.unit}"
    found = compare_column(strips, values.astype("float64"), control, settings)
    if not found:
        return Check(margin.name, None, None, allowed, "There is nothing to compare.")
    worst = max(found, key=lambda one: abs(one.difference))
    value = worst.difference
    word = margin.more if value > 0 else margin.less
    note = margin.note.format(worst.treatment, abs(value), word) + worst.say(margin.unit)
    return Check(margin.name, abs(value) <= margin.limit, round(value, 3), allowed, note)


def _tell(margin: Margin, values: "pd.Series[float]", compared: tuple[pd.DataFrame, str, StatsPart]) -> Check:
    """Say how far apart the treatments lie in something that no margin fits."""
    return replace(_judge(margin, values, compared), passed=None, allowed=NOT_JUDGED)


FIRST_PARAGRAPH = {
    "order_by_treatment": "The order of harvest goes with the treatment.",
    "direction_by_treatment": "The direction of travel goes with the treatment.",
    "machine_by_treatment": "The combine goes with the treatment.",
    "gain_against_ground_loss": "The gain is not what was counted on the ground.",
    "depends_on_cleaning": "The difference depends on how the records were cleaned.",
    "removed_by_treatment": "Cleaning removed more records from one treatment than from another.",
    "excluded_by_treatment": "More records of one treatment than of another were excluded by hand.",
}


def warn_in_answer(checks: tuple[Check, ...], refused: bool = False) -> list[str]:
    """Give the sentences that belong into the answer itself: what failed and could have made the difference.

    Parameters
    ----------
    checks : tuple of Check
    refused : bool
        There is no answer that another choice could move.

    Returns
    -------
    list of str
    """
    failed = {check.name: check.note for check in checks if check.passed is False and not check.forbids}
    said = [sentence for name, sentence in FIRST_PARAGRAPH.items() if name in failed]
    return [*said, failed[CHOICE_CHECK]] if CHOICE_CHECK in failed and not refused else said


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


def look_at_run(strips: pd.DataFrame, delays: tuple[Delay, ...]) -> tuple[Notice, ...]:
    """Collect what a user should know about the data although the run goes on.

    Parameters
    ----------
    strips : pandas.DataFrame
        The strip table.
    delays : tuple of Delay

    Returns
    -------
    tuple of Notice
    """
    return (
        *[_delay_notice(delay) for delay in delays if delay.source == "assumed"],
        *_empty_strips(strips),
        *_thin_strips(strips),
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
