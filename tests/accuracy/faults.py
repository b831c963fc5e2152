"""What the cleaning says of each record, held against what was planted in it.

A fault of position, header, width or pass belongs to the ground, so the truth is asked where the record's grain was cut
with the delay that the pipeline applied: a wrong delay is counted among delays, not again here. A fault of the flow
sensor belongs to the record itself.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from proofstrip.flags import EXCLUDING, Flag
from proofstrip.simulate import Combine, Scenario, Simulated, machine
from tests.accuracy.figures import Bools, Floats, Tally, tally

WINDOW = Flag.ENTRY_RAMP | Flag.EXIT_RAMP | Flag.STRIP_END
FULL = 0.95  # share of its level at which a machine counts as full, as configs/defaults.toml has it
STUCK_S = 15.0  # a shorter spell is no fault by configs/defaults.toml
TURN_DEG, TURN_M = 45.0, 20.0
MOVING_M_S = 0.5
# Either answer is right where the width is this near the limit, as a share of the header.
WIDTH_MARGIN = 0.05
NARROW, RECUT = 0.9, 0.2
RESPONSE_STEP_S = 0.1
RESPONSE_S = 120.0


@dataclass(frozen=True)
class Placed:
    """Records with the truth of the ground that their grain is said to be from; repeated records are left out.

    Attributes
    ----------
    records : pandas.DataFrame
        The truth at the record itself, one row a record.
    ground : pandas.DataFrame
        The truth of the record in whose time the grain was cut, same rows.
    points : pandas.DataFrame
        What the pipeline says, same rows.
    since_entry, since_exit : array of float
        From when the header truly met crop, and last did, in the pass of that ground, to the middle of the record [s].
    """

    records: pd.DataFrame
    ground: pd.DataFrame
    points: pd.DataFrame
    since_entry: Floats
    since_exit: Floats


def place_records(harvest: Simulated, points: pd.DataFrame, delays: dict[str, float]) -> Placed:
    """Find the ground of each record.

    Parameters
    ----------
    harvest : Simulated
    points : pandas.DataFrame
        The pipeline's, in reading order.
    delays : dict of str to float
        By machine, as applied [s].

    Returns
    -------
    Placed
    """
    records = harvest.records.reset_index(drop=True)
    records = records.assign(true_turning=_turning(records), true_inside=_inside(records))
    own = np.flatnonzero(~records["true_duplicate"])
    middle = records["time"] - records["duration_s"] / 2
    applied = records["machine"].astype(str).map(delays) if len(delays) > 1 else next(iter(delays.values()))
    cut = (middle - applied).to_numpy()
    place = np.full(len(records), -1)
    for _, rows in records.loc[own].groupby("machine", observed=True).groups.items():
        time = records["time"].to_numpy()[rows]
        found = np.minimum(np.searchsorted(time, cut[rows]), len(rows) - 1)
        inside = (cut[rows] <= time[found]) & (cut[rows] > time[found] - records["duration_s"].to_numpy()[rows])
        place[rows] = np.where(inside, rows[found], -1)
    kept = own[place[own] >= 0]
    ground = records.iloc[place[kept]]
    crop = records[(records["true_width_m"] > 0) & (records["true_pass"] > 0) & ~records["true_duplicate"]]
    key = ["machine", "true_pass"]
    ends = crop.groupby(key, observed=True)["time"].agg(["min", "max"]).reset_index()
    when = ground[key].merge(ends, on=key, how="left")
    entry = when["min"].to_numpy() - harvest.scenario.record_s
    at = middle.to_numpy()[kept]
    return Placed(
        records.iloc[kept], ground, points.reset_index(drop=True).iloc[kept], at - entry, at - when["max"].to_numpy()
    )


def _inside(records: pd.DataFrame) -> Bools:
    """Tell which records lie in a strip from their start to their end, with the header down."""
    strip = records["true_strip"]
    inside = (strip != "") & (strip == strip.shift()) & (strip == strip.shift(-1)) & (records["true_pass"] > 0)
    return (inside & ~records["true_header_up"]).to_numpy(dtype=bool)


def _turning(records: pd.DataFrame) -> Bools:
    """Tell where a machine truly turned as configs/defaults.toml means it: by more than 45 degrees over 20 m."""
    turned = np.zeros(len(records), dtype=bool)
    for rows in records.groupby("machine", observed=True).indices.values():
        odometer = records["distance_m"].to_numpy()[rows].cumsum()
        heading = np.unwrap(np.deg2rad(records["heading_deg"].to_numpy()[rows]))
        # The middles of the 10 m before and after lie 10 m apart.
        ahead, behind = (np.interp(odometer + side * TURN_M / 4, odometer, heading) for side in (1, -1))
        turned[rows] = np.abs(ahead - behind) > np.deg2rad(TURN_DEG)
    return turned & records["true_turn"].to_numpy(dtype=bool)


@lru_cache
def step_response(scenario: Scenario, combine: Combine) -> tuple[Floats, Floats]:
    """Give the share of its level that the flow reaches, and how long after the header met a field without edges.

    Parameters
    ----------
    scenario : Scenario
    combine : Combine

    Returns
    -------
    tuple of Floats
        Time [s], share. The display's shift is in it.
    """
    count = int(RESPONSE_S / RESPONSE_STEP_S)
    pulse = np.zeros(count)
    pulse[0] = 1.0
    stays = (combine.mixing_s / RESPONSE_STEP_S, scenario.tailings_share, scenario.tailings_s / RESPONSE_STEP_S)
    reached = np.cumsum(machine.mix(pulse, *stays))
    time = np.arange(count) * RESPONSE_STEP_S + scenario.pure_delay_s(combine) - scenario.shift_applied_s
    return time, reached


def reached_level(harvest: Simulated, placed: Placed) -> tuple[Floats, Floats]:
    """Give the share of the flow's level that is there after entry, and that is left after exit, of each record."""
    filled, left = np.ones((2, len(placed.records)))
    names = placed.records["machine"].astype(str).to_numpy()
    for combine in harvest.scenario.combines:
        mine = names == combine.name
        time, share = step_response(harvest.scenario, combine)
        filled[mine] = np.interp(placed.since_entry[mine], time, share, left=0)
        left[mine] = 1 - np.interp(placed.since_exit[mine], time, share, left=0)
    return filled, left


def _stuck_long(records: pd.DataFrame) -> Bools:
    """Tell which records belong to a spell of a stuck sensor that is long enough to count."""
    stuck = records["true_stuck"] & (records["mass_flow_kg_s"] > 0)
    run = (stuck.diff().fillna(False) | (records["mass_flow_kg_s"].diff().abs() > 0)).cumsum()
    return (stuck & (records["duration_s"].groupby(run).transform("sum") >= STUCK_S)).to_numpy()


def judge_flags(harvest: Simulated, points: pd.DataFrame, placed: Placed) -> dict[str, Tally]:
    """Count, for each flag, how the pipeline did.

    Parameters
    ----------
    harvest : Simulated
    points : pandas.DataFrame
        The pipeline's, all of them.
    placed : Placed

    Returns
    -------
    dict of str to Tally
    """
    ground, records, bits = placed.ground, placed.records, placed.points["flags"].to_numpy()
    header_m, width = harvest.scenario.header_width_m, ground["true_width_m"].to_numpy()
    passing, crop = (ground["true_pass"] > 0).to_numpy(), width > 0
    within = ground["true_inside"].to_numpy() & (ground["speed_m_s"] > MOVING_M_S).to_numpy()
    filled, left = reached_level(harvest, placed)
    others = (bits & int(EXCLUDING & ~Flag.SPIKE)) != 0
    switch = harvest.scenario.header_switch
    spike, stuck = records["true_spike"].to_numpy(), records["true_stuck"].to_numpy()

    def truth(name: str) -> Bools:
        return ground[name].to_numpy(dtype=bool)

    def narrower(share: float, margin: float) -> Bools:
        return within & (width < (share + margin) * header_m)

    planted: dict[Flag, tuple[Bools, Bools]] = {
        Flag.POSITION_JUMP: (truth("true_jump"), truth("true_jump") & passing),
        Flag.POSITION_FROZEN: (truth("true_frozen"), truth("true_frozen") & passing & (ground["distance_m"] > 0.05)),
        Flag.TURN: (truth("true_turn") | ~crop, truth("true_turning")),
        # A display that does not know the header, or says down for ever, cannot be held to it.
        Flag.HEADER_UP: (truth("true_header_up"), truth("true_header_up") & (switch in ("good", "inverted"))),
        Flag.ENTRY_RAMP: ((filled < FULL) | ~crop, (filled < FULL) & crop),
        Flag.EXIT_RAMP: ((left < FULL) | ~crop, (left < FULL) & crop),
        Flag.SPIKE: (spike | ~crop, spike & crop & ~others),
        Flag.STUCK_SENSOR: (stuck, _stuck_long(records)),
        Flag.NARROW_CUT: (narrower(NARROW, WIDTH_MARGIN) | ~within, narrower(NARROW, -WIDTH_MARGIN)),
        Flag.RECUT: (narrower(RECUT, WIDTH_MARGIN) | ~within, narrower(RECUT, -WIDTH_MARGIN)),
    }
    excluded = (bits & int(EXCLUDING)) != 0
    tallies = {
        str(flag.name).lower(): tally((bits & int(flag)) != 0, np.asarray(may), np.asarray(must), excluded)
        for flag, (may, must) in planted.items()
    }
    every = points["flags"].to_numpy()
    twice = harvest.records["true_duplicate"].to_numpy()
    repeated = tally((every & int(Flag.DUPLICATE)) != 0, twice, twice, (every & int(EXCLUDING)) != 0)
    return {"duplicate": repeated, **tallies}


def count_lost(harvest: Simulated, placed: Placed) -> dict[str, tuple[int, int]]:
    """Count the good records inside the windows, and those of them that are lost, by treatment.

    A record is good when nothing was planted in it or on its ground, its machine was full, and its ground lies in a
    strip and was not cut before.

    Parameters
    ----------
    harvest : Simulated
    placed : Placed

    Returns
    -------
    dict of str to tuple of int
        Treatment -> good, lost.
    """
    ground, records, bits = placed.ground, placed.records, placed.points["flags"].to_numpy()
    filled, left = reached_level(harvest, placed)
    faulty = ground[["true_jump", "true_frozen", "true_header_up", "true_turn"]].to_numpy(dtype=bool).any(axis=1)
    faulty = faulty | records[["true_spike", "true_stuck"]].to_numpy(dtype=bool).any(axis=1)
    width = ground["true_width_m"].to_numpy()
    good = ~faulty & (filled >= FULL) & (left >= FULL) & (width >= RECUT * harvest.scenario.header_width_m)
    good &= (bits & int(WINDOW)) == 0
    treatment = ground["true_strip"].map(harvest.trial_map.set_index("strip")["treatment"])
    good &= treatment.notna().to_numpy()
    lost = good & ((bits & int(EXCLUDING)) != 0)
    names = treatment.to_numpy()
    return {
        kind.name: (int((good & (names == kind.name)).sum()), int((lost & (names == kind.name)).sum()))
        for kind in harvest.scenario.treatments
    }


def width_errors(placed: Placed) -> list[float]:
    """Give, for each pass, how much wider than it was the pipeline takes its cut to be, on average [m]."""
    inside = placed.ground["true_inside"].to_numpy() & (placed.ground["speed_m_s"] > MOVING_M_S).to_numpy()
    inside &= (placed.points["pass_id"] > 0).to_numpy()
    error = placed.points["cut_width_m"].to_numpy() - placed.ground["true_width_m"].to_numpy()
    by_pass = pd.Series(error[inside]).groupby(placed.ground["true_pass"].to_numpy()[inside]).mean()
    return [float(value) for value in by_pass]
