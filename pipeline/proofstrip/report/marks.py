"""Records made small enough to travel with the page: a mark a record, or a mark for several in a row of one pass.

A mark is the ground of its records: where it lies, how wide and long it is, which way it points. Large fields keep
every record in some mark; only the marks grow longer.
"""

import base64
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from proofstrip.report.map import LENGTHEN, Floats, logged_yield

MOST_MARKS = 150_000  # 32 characters each on the page: 5 MB
STEPS = 65_534  # of a 16-bit number, which keeps its last value for "none"
NONE = STEPS + 1
WIDTH_STEP_M, LENGTH_STEP_M = 0.2, 0.1
FAR_SHARE = 0.001  # of the records at either end: so few lie where the receiver jumped to, not where the field is


@dataclass(frozen=True)
class Frame:
    """The ground that positions are counted in.

    Attributes
    ----------
    west_m, south_m, width_m, height_m : float
        Lower left corner and size [m].
    """

    west_m: float
    south_m: float
    width_m: float
    height_m: float

    @property
    def step_m(self) -> float:
        """Ground between two neighbouring whole numbers [m]."""
        return max(self.width_m, self.height_m, 1.0) / STEPS

    def count(self, places: Floats) -> npt.NDArray[np.uint16]:
        """Turn easting and northing [m] into whole steps; ``NONE`` outside the frame."""
        steps = (places - (self.west_m, self.south_m)) / self.step_m
        inside = np.asarray(((steps >= 0) & (steps <= STEPS)).all(axis=1))  # False for what is not a number
        whole = np.nan_to_num(steps, posinf=0, neginf=0).clip(0, STEPS).round()
        whole[~inside] = NONE
        return whole.astype(np.uint16)


def choose_frame(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame) -> Frame:
    """Frame the strips and the records, without the few that lie far off.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
    strips : geopandas.GeoDataFrame
        In the projection of the points.

    Returns
    -------
    Frame
    """
    places = [points[["cut_easting_m", "cut_northing_m"]], points[["easting_m", "northing_m"]]]
    known = np.vstack([place.to_numpy(dtype=float) for place in places])
    known = known[np.isfinite(known).all(axis=1)]
    ends = [np.quantile(known, share, axis=0) for share in (FAR_SHARE, 1 - FAR_SHARE)] if len(known) else []
    shapes = strips.geometry[~(strips.geometry.is_empty | strips.geometry.isna())]
    if len(shapes):
        west, south, east, north = shapes.total_bounds
        ends += [np.array([west, south]), np.array([east, north])]
    (west, south), (east, north) = np.min(ends, axis=0) - 5, np.max(ends, axis=0) + 5
    return Frame(float(west), float(south), float(east - west), float(north - south))


def gather_marks(points: gpd.GeoDataFrame, moisture_pct: float, most: int = MOST_MARKS) -> tuple[pd.DataFrame, int]:
    """Put records that follow each other in one pass and strip together until there are few enough.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        points.parquet, in reading order.
    moisture_pct : float
        Moisture that yields are stated at [%].
    most : int
        Marks aimed at; fields of very many short passes have more.

    Returns
    -------
    tuple of pandas.DataFrame and int
        A row a mark: records, used, flags (every bit that a record of it has), strip, the two places [m], heading
        [deg], width and length [m], yields [kg/ha]; and the most records in one mark.
    """
    machines = points["machine"].astype(str)
    ordered = points.iloc[np.argsort(pd.factorize(machines)[0], kind="stable")]
    # Records outside the strips follow each other too: a missing name would differ from the missing one before it.
    keys = ordered[["machine", "pass_id", "strip"]].astype(str).fillna("")
    run = (keys != keys.shift()).any(axis=1).cumsum().to_numpy()
    place = pd.Series(run).groupby(run).cumcount().to_numpy()
    together, longest = max(1, -(-len(points) // most)), int(place.max()) + 1
    while together < longest and _count_marks(run, place // together) > 1.5 * most:
        together *= 2
    if together == 1:
        return _sum_up(points, np.arange(len(points)), moisture_pct), 1
    part = np.flatnonzero(np.r_[True, (np.diff(run) != 0) | (np.diff(place // together) != 0)])
    return _sum_up(ordered, np.repeat(np.arange(len(part)), np.diff([*part, len(run)])), moisture_pct), together


def _count_marks(run: npt.NDArray[Any], part: npt.NDArray[Any]) -> int:
    """Count the marks that runs cut into parts would make."""
    return 1 + int(((np.diff(run) != 0) | (np.diff(part) != 0)).sum())


def _sum_up(points: gpd.GeoDataFrame, mark: npt.NDArray[Any], moisture_pct: float) -> pd.DataFrame:
    """Make a row a mark; ``mark`` counts up along the records."""
    first = np.flatnonzero(np.r_[True, np.diff(mark) != 0])
    used, records = points["usable"].to_numpy(dtype=bool), np.bincount(mark)
    cut_m2 = np.where(used, points["area_m2"].to_numpy(dtype=float), np.nan)
    logged_m2 = (points["distance_m"] * points["swath_m"]).to_numpy(dtype=float)
    final, logged = points["yield_kg_ha"].to_numpy(dtype=float), logged_yield(points, moisture_pct)
    heading = np.radians(points["heading_deg"].to_numpy(dtype=float))
    east, north = _mean(mark, np.sin(heading)), _mean(mark, np.cos(heading))
    places = ("easting_m", "northing_m", "cut_easting_m", "cut_northing_m")
    distance = np.nan_to_num(points["distance_m"].to_numpy(dtype=float), nan=0.0)
    return pd.DataFrame(
        {
            "records": records,
            "used": np.bincount(mark, weights=used).astype(int),
            "flags": np.bitwise_or.reduceat(points["flags"].to_numpy(dtype=np.int64), first),
            "strip": points["strip"].to_numpy(dtype=object)[first],
            "heading_deg": np.degrees(np.arctan2(np.nan_to_num(east), np.nan_to_num(north))) % 360,
            "width_m": _mean(mark, points["swath_m"].to_numpy(dtype=float)),
            # as the printed map does, so that jitter leaves no hairlines: half a record longer than it is
            "length_m": np.bincount(mark, weights=distance) * (1 + (LENGTHEN - 1) / records),
            "after_kg_ha": _mean(mark, final, cut_m2),
            "before_kg_ha": _mean(mark, logged, logged_m2),
            **{name: _mean(mark, points[name].to_numpy(dtype=float)) for name in places},
        }
    )


def _mean(mark: npt.NDArray[Any], values: Floats, weights: Floats | None = None) -> Floats:
    """Give the weighted mean of each mark over what is known; NaN where nothing is."""
    weights = np.ones(len(values)) if weights is None else weights
    known = np.isfinite(values) & np.isfinite(weights) & (weights > 0)
    size = int(mark[-1]) + 1
    total = np.bincount(mark[known], weights=weights[known], minlength=size)
    summed = np.bincount(mark[known], weights=values[known] * weights[known], minlength=size)
    mean: Floats = np.divide(summed, total, out=np.full(size, np.nan), where=total > 0)
    return mean


def pack(values: npt.NDArray[Any], kind: str) -> str:
    """Write numbers as little-endian bytes in base64.

    Parameters
    ----------
    values : array of int
    kind : str
        ``u1`` or ``u2``.

    Returns
    -------
    str

    Examples
    --------
    >>> pack(np.array([1, 258]), "u2")
    'AQACAQ=='
    """
    return base64.b64encode(values.astype("<" + kind).tobytes()).decode("ascii")


def pack_marks(marks: pd.DataFrame, frame: Frame, strips: list[str], yield_step: float) -> dict[str, Any]:
    """Pack the marks for the page.

    Parameters
    ----------
    marks : pandas.DataFrame
        From ``gather_marks``.
    frame : Frame
    strips : list of str
        Names; a mark holds its place here, from 1.
    yield_step : float
        Yield in one step of a 16-bit number [kg/ha].

    Returns
    -------
    dict of str to object
        A base64 text a quantity, and ``kinds``: the flags that occur together, which a mark holds by their place.
    """
    logged, cut = (frame.count(marks[[f"{at}easting_m", f"{at}northing_m"]].to_numpy()) for at in ("", "cut_"))
    number = {name: place for place, name in enumerate(strips, start=1)}
    kinds, kind = np.unique(marks["flags"].to_numpy(), return_inverse=True)
    packed: dict[str, Any] = {
        "kinds": kinds.tolist(),
        "loggedEast": pack(logged[:, 0], "u2"),
        "loggedNorth": pack(logged[:, 1], "u2"),
        "cutEast": pack(cut[:, 0], "u2"),
        "cutNorth": pack(cut[:, 1], "u2"),
        "heading": pack((marks["heading_deg"].to_numpy() / 360 * 256).round() % 256, "u1"),
        "width": pack(_steps(marks["width_m"].to_numpy(), WIDTH_STEP_M).clip(1, 255), "u1"),
        "length": pack(_steps(marks["length_m"].to_numpy(), LENGTH_STEP_M), "u2"),
        "before": pack(_steps(marks["before_kg_ha"].to_numpy(), yield_step), "u2"),
        "after": pack(_steps(marks["after_kg_ha"].to_numpy(), yield_step), "u2"),
        "kind": pack(kind, "u2"),
        "strip": pack(marks["strip"].map(number).fillna(0).to_numpy(), "u2"),
    }
    if marks["records"].max() > 1:
        packed |= {name: pack(marks[name].clip(upper=STEPS).to_numpy(), "u2") for name in ("records", "used")}
    return packed


def _steps(values: Floats, step: float) -> Floats:
    """Count values in steps; ``NONE`` where there is no value."""
    whole = np.nan_to_num(values / step, posinf=0, neginf=0).clip(0, STEPS).round()
    return np.asarray(np.where(np.isfinite(values), whole, NONE))
