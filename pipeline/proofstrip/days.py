"""The days of a harvest, as people count them."""

import pandas as pd

NIGHT_S = 4 * 3600.0
# Seconds since 1970 above this are a date; below, a log counts from its own start.
DATED_S = 1e8


def name_days(points: pd.DataFrame) -> "pd.Series[str]":
    """Name the day on which each record was logged; a day ends with a pause of four hours, not at midnight.

    Parameters
    ----------
    points : pandas.DataFrame
        machine, time [s]; utc_offset_s [s] where the zone is known.

    Returns
    -------
    pandas.Series of str
        The date on which the work began, by the zone's clock, else the log's own; ``day 1`` and so on where the log has
        no date.

    Examples
    --------
    >>> import numpy as np
    >>> late = pd.DataFrame({"machine": "a", "time": 1.7e9 + np.array([0.0, 3600.0, 9 * 3600.0])})
    >>> name_days(late).tolist()
    ['2023-11-14', '2023-11-14', '2023-11-15']
    """
    order = points[["machine", "time"]].assign(ahead=points.get("utc_offset_s", 0.0)).dropna()
    order = order.sort_values(["machine", "time"], kind="stable")
    pause = (order["time"].diff() > NIGHT_S) | (
        order["machine"].astype(object) != order["machine"].astype(object).shift()
    )
    spell = pause.cumsum()
    spells = order.groupby(spell).first()
    begin = spells["time"] + spells["ahead"]
    number = spells.groupby("machine", observed=True).cumcount() + 1
    dated = pd.to_datetime(begin, unit="s").dt.strftime("%Y-%m-%d")
    name = dated.where(begin > DATED_S, "day " + number.astype(str))
    return spell.map(name).reindex(points.index).fillna("")
