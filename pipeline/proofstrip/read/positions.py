"""Where the records lie: columns or points, their coordinate system, and the way to the working projection."""

import numpy as np
import pyproj

from proofstrip.errors import DataError
from proofstrip.read.table import Floats

# West, south, east and north [deg].
Extent = tuple[float, float, float, float]
WGS84 = pyproj.CRS.from_epsg(4326)
# Degrees outside a projection's own area within which it still measures well enough.
MARGIN_DEG = 3.0
MAX_SCALE_ERROR = 0.005
# A degree of latitude is 60 nautical miles of 1,852 m, near enough [m].
DEGREE_M = 111_120.0
# Measured: rounded to 4 decimals the invented field came out 8 to 16 % wrong, to 5 within its usual 1.7 %.
LEAST_DECIMALS = 5
FEW_POSITIONS = 20
# A field is wider than a metre and narrower than a degree.
DEGREE_SPAN = 1.0
# A trial and what was harvested around it lie closer together (common practice, no source); many records beyond are
# another place that was really harvested.
MAX_FROM_MIDDLE_M = 30_000.0
MAX_FAR_SHARE = 0.1


def utm_crs(longitude: float, latitude: float) -> pyproj.CRS:
    """Give the UTM zone of a place on WGS 84.

    Parameters
    ----------
    longitude, latitude : float
        [deg]

    Returns
    -------
    pyproj.CRS

    Examples
    --------
    >>> utm_crs(-93.98, 43.93).to_epsg()
    32615
    """
    zone = int((longitude + 180.0) // 6.0) % 60 + 1
    return pyproj.CRS.from_epsg((32600 if latitude >= 0 else 32700) + zone)


def measures_metres(crs: pyproj.CRS, longitude: float, latitude: float) -> bool:
    """Tell whether a projection's units are metres on the ground near a place, within half a per cent.

    Parameters
    ----------
    crs : pyproj.CRS
    longitude, latitude : float
        [deg]

    Returns
    -------
    bool

    Examples
    --------
    >>> measures_metres(pyproj.CRS.from_epsg(3857), -93.98, 43.93)
    False
    """
    if not crs.is_projected or any(abs(axis.unit_conversion_factor - 1.0) > 1e-9 for axis in crs.axis_info[:2]):
        return False
    factors = pyproj.Proj(crs).get_factors(longitude, latitude)
    scales = (factors.meridional_scale, factors.parallel_scale)
    return all(abs(scale - 1.0) <= MAX_SCALE_ERROR for scale in scales)


def read_crs(text: str) -> pyproj.CRS:
    """Read a coordinate system as a user writes it, such as ``EPSG:26915``.

    Parameters
    ----------
    text : str

    Returns
    -------
    pyproj.CRS

    Raises
    ------
    DataError
        When it is not known.
    """
    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as fault:
        raise DataError(
            f"[harvest] crs = {text!r} is not a coordinate system that is known; write for example 'EPSG:26915'."
        ) from fault


def transform(xy: Floats, source: pyproj.CRS, target: pyproj.CRS) -> Floats:
    """Carry points from one coordinate system to another, all in one call.

    Parameters
    ----------
    xy : numpy.ndarray of shape (n, 2)
        East before north, longitude before latitude.
    source, target : pyproj.CRS

    Returns
    -------
    numpy.ndarray of shape (n, 2)
        NaN where a point cannot be carried over.
    """
    if source == target:
        return xy
    try:
        way = pyproj.Transformer.from_crs(source, target, always_xy=True)
    except pyproj.exceptions.ProjError as fault:
        raise DataError(
            f"the coordinate system {source.name!r} cannot be carried over to {target.name!r}; set the right one in "
            "[harvest] crs, or save the file with its true one."
        ) from fault
    carried = np.column_stack(way.transform(xy[:, 0], xy[:, 1]))
    return np.where(np.isfinite(carried), carried, np.nan)


def drop_impossible(xy: Floats, geographic: bool) -> tuple[Floats, int]:
    """Take positions that no receiver gives as missing: both zero, and outside the degrees where it is degrees.

    Parameters
    ----------
    xy : numpy.ndarray of shape (n, 2)
    geographic : bool

    Returns
    -------
    tuple of numpy.ndarray and int
        Positions with NaN for the impossible, and how many there were.
    """
    bad = (xy[:, 0] == 0) & (xy[:, 1] == 0)
    if geographic:
        bad |= (np.abs(xy[:, 0]) > 180) | (np.abs(xy[:, 1]) > 90)
    return np.where(bad[:, None], np.nan, xy), int(bad.sum())


def drop_far(xy: Floats) -> tuple[Floats, int]:
    """Take single positions that lie far from all others as missing: no field reaches there, and a grid would have to.

    Parameters
    ----------
    xy : numpy.ndarray of shape (n, 2)
        [m]

    Returns
    -------
    tuple of numpy.ndarray and int
        Positions with NaN for the far ones, and how many there were; unchanged when they are many.

    Examples
    --------
    >>> drop_far(np.array([[0.0, 0.0]] * 20 + [[9e5, 0.0]]))[1]
    1
    """
    if not np.isfinite(xy).all(axis=1).any():
        return xy, 0
    far = np.hypot(*(xy - np.nanmedian(xy, axis=0)).T) > MAX_FROM_MIDDLE_M
    if not far.any() or far.mean() > MAX_FAR_SHARE:
        return xy, 0
    return np.where(far[:, None], np.nan, xy), int(far.sum())


def looks_like_degrees(xy: Floats) -> bool:
    """Tell whether coordinates of unknown kind can only be degrees: in range, and too close together for metres."""
    with_position = xy[np.isfinite(xy).all(axis=1)]
    if not len(with_position):
        return False
    low, high = np.percentile(with_position, [1, 99], axis=0)
    inside = bool((np.abs(np.median(with_position, axis=0)) <= [180, 90]).all())
    return inside and bool(((high - low) < DEGREE_SPAN).all())


def count_decimals(xy: Floats) -> int | None:
    """Count the decimals of degrees; none for more than five, and for fewer than 20 positions.

    Parameters
    ----------
    xy : numpy.ndarray of float64, shape (n, 2)
        [deg]; NaN for none.

    Returns
    -------
    int or None

    Examples
    --------
    >>> count_decimals(np.tile([[-93.1234, 41.56]], (20, 1))), count_decimals(np.full((20, 2), 41.1234567))
    (4, None)
    """
    there = xy[np.isfinite(xy).all(axis=1)]
    if len(there) < FEW_POSITIONS:
        return None
    whole = (decimals for decimals in range(6) if (np.abs(there - there.round(decimals)) < 1e-9).all())
    return next(whole, None)


def middle(xy: Floats) -> tuple[float, float]:
    """Give the median position of the records that have one."""
    east, north = np.nanmedian(xy, axis=0)
    return float(east), float(north)


def check_inside(crs: pyproj.CRS, place: tuple[float, float], file: str, map_extent: Extent | None = None) -> None:
    """Refuse a projection that is not meant for where the records lie.

    Parameters
    ----------
    crs : pyproj.CRS
    place : tuple of float
        Longitude and latitude of the records [deg].
    file : str
    map_extent : tuple of float or None
        Of the trial map, where there is one.

    Raises
    ------
    DataError
        Says whether exchanged longitude and latitude, or a minus, would fit.
    """
    longitude, latitude = place
    area = crs.area_of_use
    if area is None or _covers(crs, longitude, latitude):
        return
    hint = ""
    if _covers(crs, latitude, longitude):
        hint = " Exchanged they would fit: the columns of longitude and latitude are swapped."
    elif _covers(crs, -longitude, latitude):
        hint = " With the other sign the longitude would fit: western longitudes are negative."
    if map_extent is None:
        where = (
            f"is outside the area of the working coordinate system {crs.name!r} (longitude {area.west:g} to "
            f"{area.east:g}, latitude {area.south:g} to {area.north:g}), that of the trial map or the first file"
        )
    else:
        west, south, east, north = map_extent
        where = (
            f"is far from the trial map, which reaches from longitude {west:.4f} to {east:.4f} and latitude "
            f"{south:.4f} to {north:.4f}"
        )
    raise DataError(
        f"{file}: the records lie about longitude {longitude:.4f}, latitude {latitude:.4f}, which {where}.{hint} "
        "Check the columns of the position and the trial map."
    )


def grid_turn(crs: pyproj.CRS, longitude: float, latitude: float) -> float:
    """Give the grid bearing of true north at a place [deg]: a logged heading counts from true north.

    Parameters
    ----------
    crs : pyproj.CRS
    longitude, latitude : float
        [deg]

    Returns
    -------
    float
    """
    pair = transform(np.array([[longitude, latitude], [longitude, latitude + 1e-3]]), WGS84, crs)
    east, north = pair[1] - pair[0]
    return float(np.degrees(np.arctan2(east, north)))


def _covers(crs: pyproj.CRS, longitude: float, latitude: float) -> bool:
    """Tell whether a projection's area of use, with a margin, holds a place."""
    area = crs.area_of_use
    if area is None:
        return True
    if not (area.south - MARGIN_DEG <= latitude <= area.north + MARGIN_DEG):
        return False
    if area.west > area.east:
        return longitude >= area.west - MARGIN_DEG or longitude <= area.east + MARGIN_DEG
    return area.west - MARGIN_DEG <= longitude <= area.east + MARGIN_DEG
