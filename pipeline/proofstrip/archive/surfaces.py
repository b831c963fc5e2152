"""Yield, moisture and elevation as cloud-optimised GeoTIFF: means of the records in cells of a header's width."""

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
import rasterio  # type: ignore[import-untyped]

Floats = np.ndarray[tuple[int], np.dtype[np.float64]]

# A field of 10 km by 10 km at a header of 3 m; more cells than that come of a stray position.
MOST_CELLS = 12_000_000


@dataclass(frozen=True)
class Grid:
    """Square cells, north up.

    Attributes
    ----------
    west, north, cell_m : float
    columns, rows : int
    """

    west: float
    north: float
    cell_m: float
    columns: int
    rows: int

    @property
    def transform(self) -> rasterio.Affine:
        """From columns and rows to eastings and northings."""
        return rasterio.Affine(self.cell_m, 0.0, self.west, 0.0, -self.cell_m, self.north)


def write_surfaces(points: gpd.GeoDataFrame, folder: Path) -> dict[str, str]:
    """Write the surfaces that the records have.

    Yield is the sum of standard mass over the sum of area of a cell's usable records, moisture their mean by wet mass,
    elevation the mean of their heights as logged, where they were logged.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        Of a run: usable, cut and logged positions, masses, area, moisture, elevation, swath.
    folder : pathlib.Path

    Returns
    -------
    dict of str to str
        File written -> what it holds, for people.
    """
    usable = points[points["usable"].to_numpy(dtype=bool)]
    cut = ("cut_easting_m", "cut_northing_m")
    plan = (
        ("yield", "kg/ha", cut, usable["standard_mass_kg"] * 1e4, usable["area_m2"]),
        ("moisture", "%", cut, usable["moisture_pct"] * usable["wet_mass_kg"], usable["wet_mass_kg"]),
        ("elevation", "m", ("easting_m", "northing_m"), usable["elevation_m"], usable["elevation_m"] * 0 + 1),
    )
    written = {}
    for name, unit, (east, north), amount, weight in plan:
        where = [usable[column].to_numpy(dtype=float) for column in (east, north)]
        sums = [series.to_numpy(dtype=float) for series in (amount, weight)]
        known = np.isfinite(where).all(axis=0) & np.isfinite(sums).all(axis=0) & (sums[1] > 0)
        if not known.any():
            continue
        grid = lay_grid(where[0][known], where[1][known], float(usable["swath_m"].median()))
        means = mean_by_cell(grid, where[0][known], where[1][known], sums[0][known], sums[1][known])
        write_raster(means, grid, points.crs, folder / f"{name}.tif", (name, unit))
        written[f"{name}.tif"] = f"{name} [{unit}] in cells of {grid.cell_m:g} m; no data where no usable record is"
    return written


def lay_grid(easting: Floats, northing: Floats, width_m: float) -> Grid:
    """Lay cells of about a header's width over the records, on whole multiples of the width.

    Parameters
    ----------
    easting, northing : numpy.ndarray of float
        [m], finite, at least one.
    width_m : float
        Of the header; not known: 9 m.

    Returns
    -------
    Grid
        With wider cells where a stray position would make the grid huge.

    Examples
    --------
    >>> lay_grid(np.array([1.0, 12.0]), np.array([3.0, 4.0]), 6.04)
    Grid(west=0.0, north=6.0, cell_m=6.0, columns=3, rows=1)
    """
    cell = round(width_m, 1) if np.isfinite(width_m) and width_m >= 0.1 else 9.0
    while True:
        west, south = np.floor(easting.min() / cell), np.floor(northing.min() / cell)
        columns = int(np.floor(easting.max() / cell) - west) + 1
        rows = int(np.floor(northing.max() / cell) - south) + 1
        if columns * rows <= MOST_CELLS:
            return Grid(float(west * cell), float((south + rows) * cell), cell, columns, rows)
        cell *= 2


def mean_by_cell(grid: Grid, easting: Floats, northing: Floats, amount: Floats, weight: Floats) -> np.ndarray:
    """Divide the sum of an amount in each cell by that of a weight.

    Parameters
    ----------
    grid : Grid
    easting, northing, amount, weight : numpy.ndarray of float

    Returns
    -------
    numpy.ndarray of float32
        Rows from north to south; NaN in cells without a record.
    """
    column = np.clip(((easting - grid.west) / grid.cell_m).astype(int), 0, grid.columns - 1)
    row = np.clip(((grid.north - northing) / grid.cell_m).astype(int), 0, grid.rows - 1)
    cell, size = row * grid.columns + column, grid.rows * grid.columns
    total, share = (np.bincount(cell, weights=values, minlength=size) for values in (amount, weight))
    means = np.divide(total, share, out=np.full(size, np.nan), where=share > 0)
    surface: np.ndarray = means.reshape(grid.rows, grid.columns).astype(np.float32)
    return surface


def write_raster(values: np.ndarray, grid: Grid, crs: pyproj.CRS, path: Path, what: tuple[str, str]) -> None:
    """Write one band as a cloud-optimised GeoTIFF.

    Parameters
    ----------
    values : numpy.ndarray of float32
    grid : Grid
    crs : pyproj.CRS
    path : pathlib.Path
    what : tuple of str
        Name and unit of the band.
    """
    with rasterio.open(
        path,
        "w",
        driver="COG",
        width=grid.columns,
        height=grid.rows,
        count=1,
        dtype="float32",
        crs=crs.to_wkt(),
        transform=grid.transform,
        nodata=np.nan,
        compress="DEFLATE",
        predictor="YES",
        overview_resampling="AVERAGE",
    ) as target:
        target.write(values, 1)
        target.descriptions = (what[0],)
        target.units = (what[1],)
