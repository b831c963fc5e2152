"""The travel delay, treatment by treatment: told, never corrected.

Cleaning applies one delay to all strips of a machine, because it sees no treatment. A treatment that changes how grain
flows through the combine could change the delay too; then its grain would be put on the wrong ground. Neighbouring
passes in opposite directions tell only the sum of both their delays, so the treatments are told apart by how soon the
flow follows the entry into the crop and the exit from it. The strip is the unit.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from proofstrip.balance import Balance, compare_column, deal_labels
from proofstrip.clean.halves import find_half_times
from proofstrip.clean.track import Track
from proofstrip.config import StatsPart
from proofstrip.errors import Notice

# Less than this moves grain by no more than a record or two.
MIN_DIFFERENCE_S = 1.0
MIN_STRIPS = 2
# A pass that lies in one strip but for its edges.
OWN_SHARE = 0.9
BOTH_SHARE = 0.8


@dataclass(frozen=True)
class TreatmentDelay:
    """Travel delay of one machine in the strips of one treatment.

    Attributes
    ----------
    machine, treatment : str
    strips : int
        Strips that could tell.
    seconds, low, high : float or None
        Mean over strips with its interval [s]; none where the data cannot tell.
    difference_s, difference_low_s, difference_high_s, p_value : float or None
        Minus the control's, as in the checks; none for the control.
    seldom : bool or None
        Chance sets any treatment as far apart in at most 10 % of cases, or as seldom as so few strips can show.
    reason : str
        For people: how it was had, or why it is refused.
    """

    machine: str
    treatment: str
    strips: int
    seconds: float | None
    low: float | None
    high: float | None
    difference_s: float | None
    difference_low_s: float | None
    difference_high_s: float | None
    p_value: float | None
    seldom: bool | None
    reason: str


def compare_delays(
    points: pd.DataFrame, track: Track, strips: pd.DataFrame, control: str, settings: StatsPart
) -> tuple[TreatmentDelay, ...]:
    """Estimate the travel delay of each machine in each treatment's strips.

    Parameters
    ----------
    points : pandas.DataFrame
        mass_flow_kg_s, pass_id, strip.
    track : Track
        Of the same points.
    strips : pandas.DataFrame
        The strip table.
    control : str
    settings : StatsPart

    Returns
    -------
    tuple of TreatmentDelay
        Machine by machine, treatments in the order of the strip table.
    """
    found: list[TreatmentDelay] = []
    passes = _read_passes(points, track)
    for code, machine in enumerate(track.names):
        values, reason = _choose(passes[passes["machine"] == code], strips)
        apart = {row.treatment: row for row in compare_column(strips, values, control, settings)}
        chances = deal_labels(strips, values.to_frame(), control, settings)
        seldom = None if chances is None else chances.seldom(float(chances.alone[0]))
        for treatment, own in values.groupby(strips["treatment"], sort=False):
            known = own.dropna().to_numpy(dtype=np.float64)
            found.append(
                _describe(
                    (machine, str(treatment)), known, (apart.get(str(treatment)), seldom), reason, settings.confidence
                )
            )
    return tuple(found)


def _read_passes(points: pd.DataFrame, track: Track) -> pd.DataFrame:
    """Give entry and middle of each pass that lies in one strip."""
    halves = find_half_times(track, points["mass_flow_kg_s"].to_numpy(dtype=np.float64)[track.row])
    inside = points.loc[points["strip"].notna() & (points["pass_id"] > 0), ["pass_id", "strip"]]
    counts = inside.groupby(["pass_id", "strip"], observed=True).size().reset_index(name="records")
    share = counts["records"] / counts.groupby("pass_id")["records"].transform("sum")
    strip_of = counts[share >= OWN_SHARE].set_index("pass_id")["strip"]
    table = pd.DataFrame({"pass_id": halves.pass_id, "machine": halves.machine, "entry": halves.alike_entry_s})
    return table.assign(middle=halves.middle_s, strip=table["pass_id"].map(strip_of)).dropna(subset="strip")


def _choose(passes: pd.DataFrame, strips: pd.DataFrame) -> "tuple[pd.Series[float], str]":
    """Give each strip's delay by entry and exit where most strips have both, else by the entry; and say which."""
    by_strip = passes.groupby("strip")[["entry", "middle"]].mean()
    values = {name: strips["strip"].map(by_strip[name]).astype("float64") for name in by_strip}
    if values["middle"].notna().sum() >= BOTH_SHARE * max(values["entry"].notna().sum(), 1):
        return values["middle"], "when the flow passes half of its level after entry and after exit"
    said = "when the flow passes half of its level after entry; the header goes down before the crop, so it is long"
    return values["entry"], said


def _describe(
    name: tuple[str, str],
    known: np.ndarray,
    against: tuple[Balance | None, bool | None],
    reason: str,
    confidence: float,
) -> TreatmentDelay:
    """Put one row together; refused where fewer than two strips can tell."""
    count = len(known)
    if count < MIN_STRIPS:
        said = (
            f"{count} strip{'' if count == 1 else 's'} with a pass whose beginning and end the header or the log "
            f"shows; at least {MIN_STRIPS} are needed"
        )
        return TreatmentDelay(*name, count, None, None, None, None, None, None, None, None, said)
    mean = float(known.mean())
    reach = -float(special.stdtrit(count - 1, (1 - confidence) / 2)) * float(known.std(ddof=1) / np.sqrt(count))
    apart, seldom = against
    low, high = mean - reach, mean + reach
    if apart is None or apart.p_value is None:
        return TreatmentDelay(*name, count, mean, low, high, None, None, None, None, None, reason)
    other = (apart.difference, apart.low, apart.high, apart.p_value)
    return TreatmentDelay(*name, count, mean, low, high, *other, seldom, reason)


def note_delays(delays: tuple[TreatmentDelay, ...], control: str) -> tuple[Notice, ...]:
    """Warn where a treatment's delay clearly differs from the control's.

    Parameters
    ----------
    delays : tuple of TreatmentDelay
    control : str

    Returns
    -------
    tuple of Notice
    """
    found = []
    for row in delays:
        if row.difference_s is None or not is_clear(row):
            continue
        side = "later" if row.difference_s > 0 else "sooner"
        span = f"{row.difference_low_s:+.1f} to {row.difference_high_s:+.1f} s".replace("-", "\N{MINUS SIGN}")
        said = (
            f"Grain of {row.treatment} reached the sensor of {row.machine} {abs(row.difference_s):.1f} s {side} "
            f"than that of {control} (margin of error: {span}). One delay was applied to both, so near the ends of the "
            "strips grain of one of them lies beside its own ground; look at the answer under other delays."
        )
        found.append(Notice("delay_by_treatment", said))
    return tuple(found)


def is_clear(row: TreatmentDelay) -> bool:
    """Tell whether a difference is large enough to matter, and more than chance often gives."""
    if row.difference_s is None or row.difference_low_s is None or row.difference_high_s is None:
        return False
    one_side = row.difference_low_s > 0 or row.difference_high_s < 0
    return abs(row.difference_s) >= MIN_DIFFERENCE_S and one_side and row.seldom is True
