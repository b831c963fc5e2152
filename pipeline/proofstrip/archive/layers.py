"""Points as GeoParquet and strips as GeoPackage: the layers of a trial as others read them."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from proofstrip.archive.names import Naming
from proofstrip.columns import ARCHIVE_COLUMNS, POINT_COLUMNS, STRIP_COLUMNS

# Degrees of WGS 84, so that trials of several zones can be asked at once.
SHARED_CRS = "OGC:CRS84"
# A group is the least that a reader fetches: 5,000 records of 2 s are about 4 ha, 200 kB compressed.
ROWS_PER_GROUP = 5_000
# GeoPackage notes when it was written; a fixed date keeps the same run the same bytes.
NO_DATE = "1970-01-01T00:00:00.000Z"


def write_points(points: gpd.GeoDataFrame, naming: Naming, path: Path) -> None:
    """Write points.parquet: every record, those near each other beside each other.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        ``POINT_COLUMNS`` and geometry, of a run.
    naming : Naming
    path : pathlib.Path
    """
    own = {
        "item": naming.item,
        "trial": naming.trial,
        "season": naming.season,
        "crop": naming.crop,
        "crs": naming.crs,
    }
    frame = points.to_crs(SHARED_CRS)
    for column in ARCHIVE_COLUMNS:
        frame[column.name] = pd.Series(own[column.name], index=frame.index, dtype=column.dtype)
    texts = {column.name: "str" for column in POINT_COLUMNS if column.dtype == "object"}
    names = [column.name for column in (*ARCHIVE_COLUMNS, *POINT_COLUMNS)]
    frame = frame.astype(texts)[[*names, frame.geometry.name]]
    frame.iloc[order_by_place(frame)].to_parquet(
        path,
        index=False,
        compression="zstd",
        schema_version="1.1.0",
        write_covering_bbox=True,
        row_group_size=ROWS_PER_GROUP,
    )


def order_by_place(points: gpd.GeoDataFrame) -> np.ndarray:
    """Order records along a Hilbert curve; those without a place last, equal places in reading order.

    Parameters
    ----------
    points : geopandas.GeoDataFrame

    Returns
    -------
    numpy.ndarray of int
        Positions of the rows.
    """
    placed = np.flatnonzero(~(points.geometry.isna() | points.geometry.is_empty))
    distance = np.full(len(points), np.iinfo(np.int64).max)
    if len(placed):
        distance[placed] = points.geometry.iloc[placed].hilbert_distance().to_numpy()
    return np.argsort(distance, kind="stable")


def write_strips(strips: pd.DataFrame, trial_map: gpd.GeoDataFrame, path: Path) -> None:
    """Write strips.gpkg: layer strips, the strip table on its polygons, and layer boundary, the outline of all strips.

    Parameters
    ----------
    strips : pandas.DataFrame
        ``STRIP_COLUMNS``.
    trial_map : geopandas.GeoDataFrame
        strip and polygons.
    path : pathlib.Path
    """
    shapes = trial_map.set_index("strip").geometry
    texts = {column.name: "str" for column in STRIP_COLUMNS if column.dtype == "object" and column.name in strips}
    table = gpd.GeoDataFrame(
        strips.astype(texts), geometry=strips["strip"].map(shapes).to_numpy(), crs=trial_map.crs
    ).set_geometry("geometry")
    outline = gpd.GeoDataFrame(
        {"what": ["outline of all strips of the trial map"]},
        geometry=[shapely.union_all(shapes.to_numpy())],
        crs=trial_map.crs,
    )
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": NO_DATE})
    try:
        for layer, frame in (("strips", table), ("boundary", outline)):
            several = frame.assign(geometry=[_as_parts(shape) for shape in frame.geometry])
            several.to_file(path, layer=layer, driver="GPKG", engine="pyogrio")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def _as_parts(shape: shapely.Polygon | shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Make every polygon a polygon of several parts: a layer has one kind of shape."""
    return shape if isinstance(shape, shapely.MultiPolygon) else shapely.MultiPolygon([shape])
