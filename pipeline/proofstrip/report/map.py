"""The yield map before and after cleaning.

Every record is painted as the ground it covers onto a grid of the picture's own pixels, so a million records cost no
more room on the page than a thousand.
"""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
PIXELS = (640, 1000)  # most columns and rows: 3.4 by 5.3 inches at 190 dots an inch
MIN_PIXEL_M = 0.25
LENGTHEN = 1.5  # positions jitter along the track: records painted a little longer leave no hairlines between them


@dataclass(frozen=True)
class Window:
    """The ground that the map shows, as a grid of square pixels.

    Attributes
    ----------
    west_m, south_m : float
        Lower left corner [m].
    pixel_m : float
    columns, rows : int
    """

    west_m: float
    south_m: float
    pixel_m: float
    columns: int
    rows: int

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """West, east, south, north [m]."""
        east, north = self.west_m + self.columns * self.pixel_m, self.south_m + self.rows * self.pixel_m
        return self.west_m, east, self.south_m, north

    @property
    def width_m(self) -> float:
        """Width of the ground shown [m]."""
        return self.columns * self.pixel_m

    @property
    def height_m(self) -> float:
        """Height of the ground shown [m]."""
        return self.rows * self.pixel_m


@dataclass(frozen=True)
class YieldMap:
    """Both maps, painted and ready to draw.

    Attributes
    ----------
    window : Window
    before, after : array of float, rows by columns
        Yield [kg/ha], NaN where nothing was counted.
    removed : array of bool, rows by columns
        Ground of records that were not counted.
    low, high : float
        Ends of the shared scale [kg/ha]: the 2nd and 98th percentile of the records counted.
    strips : geopandas.GeoDataFrame
        strip, treatment, geometry.
    """

    window: Window
    before: Floats
    after: Floats
    removed: npt.NDArray[np.bool_]
    low: float
    high: float
    strips: gpd.GeoDataFrame


def paint_yield(points: gpd.GeoDataFrame, trial_map: gpd.GeoDataFrame, moisture_pct: float) -> YieldMap | None:
    """Paint all records as logged, and those counted where they were cut.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        points.parquet.
    trial_map : geopandas.GeoDataFrame
        strip, treatment, geometry.
    moisture_pct : float
        Moisture that yields are stated at [%].

    Returns
    -------
    YieldMap or None
        None when no record was counted.
    """
    usable = points["usable"].to_numpy(dtype=bool)
    counted = usable & np.isfinite(points["yield_kg_ha"].to_numpy(dtype=float))
    if not counted.any():
        return None
    strips = trial_map
    if points.crs is not None and trial_map.crs is not None and points.crs != trial_map.crs:
        strips = trial_map.to_crs(points.crs)
    cut = points[["cut_easting_m", "cut_northing_m"]].to_numpy(dtype=float)
    logged = points[["easting_m", "northing_m"]].to_numpy(dtype=float)
    window = _choose_window(strips, cut[counted])
    final = points["yield_kg_ha"].to_numpy(dtype=float)
    low, high = (float(value) for value in np.percentile(final[counted], [2, 98]))
    raw = logged_yield(points, moisture_pct)
    before, kept = _paint(window, logged, points, raw, counted & np.isfinite(raw))
    after, _ = _paint(window, cut, points, final, counted)
    _, lost = _paint(window, logged, points, np.zeros(len(points)), ~usable)
    return YieldMap(window, before, after, (lost > 0) & (lost >= kept), low, max(high, low + 1.0), strips)


def _choose_window(strips: gpd.GeoDataFrame, counted: Floats) -> Window:
    """Frame the strips with a margin; without strips, the records counted."""
    shapes = strips.geometry[~(strips.geometry.is_empty | strips.geometry.isna())]
    if len(shapes):
        west, south, east, north = (float(edge) for edge in shapes.total_bounds)
    else:
        (west, south), (east, north) = np.nanmin(counted, axis=0), np.nanmax(counted, axis=0)
    margin = max(12.0, 0.05 * max(east - west, north - south))
    west, south, east, north = west - margin, south - margin, east + margin, north + margin
    pixel = max((east - west) / PIXELS[0], (north - south) / PIXELS[1], MIN_PIXEL_M)
    return Window(west, south, pixel, int(np.ceil((east - west) / pixel)), int(np.ceil((north - south) / pixel)))


def logged_yield(points: gpd.GeoDataFrame, moisture_pct: float) -> Floats:
    """Give the yield from what the display logged alone: flow, time, distance and its own width.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
    moisture_pct : float
        Moisture that yields are stated at [%].

    Returns
    -------
    array of float
        [kg/ha]; where the display logged too little, the final yield.
    """
    mass = points["mass_flow_kg_s"] * points["duration_s"]
    area = points["distance_m"] * points["swath_m"]
    dry = (100 - points["moisture_pct"]) / (100 - moisture_pct)
    raw = (1e4 * mass / area.where(area > 0) * dry.fillna(1.0)).to_numpy(dtype=float)
    final = points["yield_kg_ha"].to_numpy(dtype=float)
    return np.asarray(np.where(np.isfinite(raw), raw, final))


def _paint(
    window: Window, centres: Floats, points: gpd.GeoDataFrame, values: Floats, chosen: npt.NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Give mean value and samples of each pixel, each record spread over its own rectangle."""
    chosen = chosen & np.isfinite(centres).all(axis=1)
    heading = np.radians(np.nan_to_num(points["heading_deg"].to_numpy(dtype=float)[chosen]))
    width = np.nan_to_num(points["swath_m"].to_numpy(dtype=float)[chosen], nan=window.pixel_m)
    length = LENGTHEN * np.nan_to_num(points["distance_m"].to_numpy(dtype=float)[chosen], nan=window.pixel_m)
    column, row = ((centres[chosen] - (window.west_m, window.south_m)) / window.pixel_m).T
    value = values[chosen]
    size = window.columns * window.rows
    total, samples = np.zeros(size), np.zeros(size)
    for across in _steps(width, window.pixel_m):
        for along in _steps(length, window.pixel_m):
            ahead, aside = along * length / window.pixel_m, across * width / window.pixel_m
            j = np.floor(column + ahead * np.sin(heading) + aside * np.cos(heading)).astype(np.int64)
            i = np.floor(row + ahead * np.cos(heading) - aside * np.sin(heading)).astype(np.int64)
            inside = (j >= 0) & (j < window.columns) & (i >= 0) & (i < window.rows)
            cell = i[inside] * window.columns + j[inside]
            # In place: a sum over all pixels for each sample would cost more than the records.
            np.add.at(total, cell, value[inside])
            np.add.at(samples, cell, 1.0)
    with np.errstate(invalid="ignore"):
        mean = total / samples
    return mean.reshape(window.rows, window.columns), samples.reshape(window.rows, window.columns)


def _steps(size_m: Floats, pixel_m: float) -> Floats:
    """Give fractions of a side at which a record is sampled, close enough to leave no hole."""
    longest = float(np.percentile(size_m, 99)) if len(size_m) else 0.0
    steps = int(np.clip(np.ceil(1.4 * longest / pixel_m), 1, 60))
    return (np.arange(steps) + 0.5) / steps - 0.5
