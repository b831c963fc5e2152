"""How long the machine takes to fill after entry and to empty before exit, learnt from the passes themselves."""

import numpy as np
import pandas as pd

from proofstrip.clean.track import Bools, Floats, Ints
from proofstrip.config import CleanPart

BIN_S = 1.0
STEADY_S = 3.0


def find_ramp(since: Floats, relative: Floats, settings: CleanPart) -> float:
    """Find when the pooled flow first stays at the pass's level.

    Parameters
    ----------
    since : array of float, shape (n,)
        Time since entry, or until exit [s].
    relative : array of float, shape (n,)
        Flow over ground, relative to the pass's median.
    settings : CleanPart
        ``ramp_level``, ``ramp_min_s``, ``ramp_max_s``.

    Returns
    -------
    float
        Trim [s], within the settings' bounds; the upper bound where the level is never reached.

    Examples
    --------
    A machine that fills within 6 s is found (the settings' level is 0.95):

    >>> from proofstrip.config import load_defaults
    >>> since = np.tile(np.arange(40.0), 9)
    >>> find_ramp(since, np.minimum(1, (since + 1) / 7), load_defaults().clean)
    6.0
    """
    near = (since >= 0) & (since < settings.ramp_max_s + STEADY_S) & np.isfinite(relative)
    curve = pd.Series(relative[near]).groupby(np.floor(since[near] / BIN_S)).median()
    full = curve >= settings.ramp_level
    bins = int(STEADY_S / BIN_S)
    steady = full.rolling(bins).min().shift(1 - bins) == 1
    reached = steady.index[steady]
    first = float(reached[0]) * BIN_S if len(reached) else settings.ramp_max_s
    return float(np.clip(first, settings.ramp_min_s, settings.ramp_max_s))


def flag_ramp(
    since: Floats, relative: Floats, machine: Ints, in_pass: Bools, sure: Bools, settings: CleanPart
) -> Bools:
    """Flag one end of the passes of each machine.

    Parameters
    ----------
    since : array of float, shape (n,)
        Time since entry, or until exit [s].
    relative : array of float, shape (n,)
        Flow over ground, relative to the pass's median; NaN where not to be used.
    machine : array of int, shape (n,)
    in_pass : array of bool, shape (n,)
    sure : array of bool, shape (n,)
        Whether the record's machine has an estimated or declared delay; if not, ``ramp_unsure_s`` is added.
    settings : CleanPart

    Returns
    -------
    array of bool, shape (n,)
    """
    flagged = np.zeros(len(machine), dtype=bool)
    for code in np.unique(machine):
        mine = (machine == code) & in_pass
        more = 0.0 if sure[machine == code].all() else settings.ramp_unsure_s
        trim = min(find_ramp(since[mine], relative[mine], settings) + more, settings.ramp_max_s)
        flagged |= mine & (since < trim)
    return flagged
