"""Projection: the working CRS of the run, and the way of every input to it."""

import numpy as np
import pyproj
import shapely
from pyproj.aoi import AreaOfInterest
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import UTMConversion
from pyproj.database import query_utm_crs_info

from hardpan.core.arrays import Floats
from hardpan.core.errors import AmbiguousInputError, InputError, SettingsError
from hardpan.core.said import Said, distance, percent
from hardpan.records.issues import Issue
from hardpan.spatial.datum import GDA94, GDA2020, WGS84, Bounds, Move, Points, label, plan_move
from hardpan.survey.notes import Land, Log, warned

ETRS89, NAD83 = 4258, 4269
_ZONES = {
    (WGS84, False): (32600, range(1, 61)),
    (WGS84, True): (32700, range(1, 61)),
    (GDA94, True): (28300, range(48, 59)),
    (GDA2020, True): (7800, range(46, 60)),
    (ETRS89, False): (25800, range(28, 39)),
    (NAD83, False): (26900, range(1, 24)),
}
"""Base code and zones of the registry's zoned projections, by datum and hemisphere (south true)."""
WIDEST_DEG = 1.0
"""No paddock is wider."""


MOST_STRETCH = 0.02
"""Widths, buffers and cells are metres of the working CRS: more than this off, a machine would not fit its zone. The
national grids and equal-area projections of large countries keep it; the projection of web maps does not."""
UTM_SOUTHMOST, UTM_NORTHMOST = -80.0, 84.0


def read_crs(text: str, *, key: str) -> pyproj.CRS:
    """CRS that the setting `key` names, without heights.

    Raises
    ------
    SettingsError
        It is no CRS.
    """
    try:
        crs = flat(pyproj.CRS.from_user_input(text))
    except pyproj.exceptions.CRSError as err:
        raise SettingsError(what=f"{text!r} is no CRS", where=key, right="such as EPSG:4326") from err
    if not (crs.is_geographic or crs.is_projected) or crs.is_geocentric:
        raise SettingsError(what=f"{text!r} has no latitude or easting", where=key, right="such as EPSG:4326")
    return crs


def flat(crs: pyproj.CRS) -> pyproj.CRS:
    """Horizontal part of a CRS: heights are dropped before any transformation."""
    crs = crs.sub_crs_list[0] if crs.is_compound else crs
    if crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    crs = crs.to_2d()
    authority = crs.to_authority(min_confidence=70)
    return pyproj.CRS.from_authority(*authority) if authority else crs


def working_crs(asked: str, source: pyproj.CRS, lon: float, lat: float) -> pyproj.CRS:
    """Projected CRS of the run.

    Parameters
    ----------
    asked : str
        "auto", or a CRS.
    source : pyproj.CRS
        CRS of the boundary, whose datum is kept.
    lon, lat : float
        Middle of the boundary, degrees.

    Raises
    ------
    SettingsError
        The CRS asked for is not projected in metres, or its metres are not those of this ground.
    """
    if asked != "auto":
        crs = read_crs(asked, key="paddock.crs")
        if not crs.is_projected or any(axis.unit_conversion_factor != 1.0 for axis in crs.axis_info[:2]):
            raise SettingsError(what=f"{asked} is not projected in metres", where="paddock.crs", right='"auto"')
        _refuse_stretched(crs, asked, source, lon, lat)
        return crs
    geodetic = source.geodetic_crs or source
    zone, south = min(int((lon + 180.0) // 6.0) + 1, 60), lat < 0
    if not UTM_SOUTHMOST <= lat <= UTM_NORTHMOST:
        raise SettingsError(what=f"no UTM zone at latitude {lat:.1f}", where="paddock.crs", do="name a projected CRS")
    code = geodetic.to_epsg(min_confidence=70) or 0
    base, zones = _ZONES.get((code, south), (0, range(0)))
    if zone in zones:
        return pyproj.CRS.from_epsg(base + zone)
    wanted = f"{geodetic.name} / UTM zone {zone}{'S' if south else 'N'}"
    around = AreaOfInterest(lon - 0.01, lat - 0.01, lon + 0.01, lat + 0.01)
    for info in query_utm_crs_info(datum_name=geodetic.name, area_of_interest=around):
        if info.name == wanted:
            return pyproj.CRS.from_epsg(int(info.code))
    return ProjectedCRS(
        conversion=UTMConversion(str(zone), hemisphere="S" if south else "N"), name=wanted, geodetic_crs=geodetic
    )


def _refuse_stretched(crs: pyproj.CRS, asked: str, source: pyproj.CRS, lon: float, lat: float) -> None:
    """Refuse a CRS whose scale at a place (degrees of the datum of `source`) is off by more than `MOST_STRETCH`."""
    onto = pyproj.Transformer.from_crs(source.geodetic_crs or source, crs.geodetic_crs or crs, always_xy=True)
    scale = pyproj.Proj(crs).get_factors(*onto.transform(lon, lat))
    length = max(
        scale.tissot_semimajor, scale.tissot_semiminor, key=lambda one: abs(np.log(one)) if one > 0 else np.inf
    )
    if not abs(length - 1.0) <= MOST_STRETCH:
        raise SettingsError(
            what=f"a length of 100 m on this ground is {100 * length:.0f} m in {asked} ({crs.name})",
            where="paddock.crs",
            right=f"a CRS true to {percent(MOST_STRETCH)} here",
            do='take "auto", or name the zone of a national grid or of UTM that this place lies in',
        )


def shift_issues(move: Move, file: str) -> tuple[Issue, ...]:
    """What a user should know of a move that changes the datum."""
    if not move.changes_datum:
        return ()
    accuracy = (
        "of unstated accuracy" if move.accuracy_m is None else Said("good to {error}", error=distance(move.accuracy_m))
    )
    what = Said("datum differs from the paddock's, {accuracy}", accuracy=accuracy)
    return (warned("datum-moved", what, f"moved: {move.operation}", file=file),)


def degrees_bounds(bounds: Bounds, crs: pyproj.CRS, file: str) -> Bounds:
    """Bounds in `crs` as west, south, east, north in degrees, widened a little.

    Raises
    ------
    InputError
        They do not fit the CRS, or reach around the globe.
    """
    back = pyproj.Transformer.from_crs(crs, crs.geodetic_crs or crs, always_xy=True)
    x, y = back.transform([bounds[0], bounds[2], bounds[0], bounds[2]], [bounds[1], bounds[3], bounds[3], bounds[1]])
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise InputError(what=f"coordinates do not fit {label(crs)}", where=file, do="check the CRS of the file")
    west, east = min(x), max(x)
    if east - west > WIDEST_DEG or max(y) - min(y) > WIDEST_DEG:
        raise InputError(
            what=f"reaches over {east - west:.1f} degrees of longitude, or across the 180th meridian",
            where=file,
            right="one paddock on one side of it",
            do="check the coordinates, or cut the paddock at that meridian and plan each side",
        )
    return west - 0.01, min(y) - 0.01, east + 0.01, max(y) + 0.01


def refuse_no_degrees(x: Floats, y: Floats, crs: pyproj.CRS, *, file: str, do: str) -> None:
    """Refuse positions of a geographic CRS that are no degrees; `do` is what to do unless the axes are swapped.

    Raises
    ------
    InputError
        A longitude is beyond 180 or a latitude beyond 90.
    """
    if not crs.is_geographic or ((np.abs(x) <= 180) & (np.abs(y) <= 90)).all():
        return
    what = "positions are no degrees"
    if np.abs(x).max() <= 90 and np.abs(y).max() <= 180:
        what, do = f"{what}: latitude and longitude seem swapped", "swap the names of the two columns"
    raise InputError(what=what, where=file, do=do)


def move_geometry(geometry: np.ndarray, move: Points) -> np.ndarray:
    """Geometries with every vertex moved; heights are dropped."""
    flat_geometry = shapely.force_2d(geometry)

    def points(xy: Floats) -> Floats:
        return np.column_stack(move(xy[:, 0].copy(), xy[:, 1].copy()))

    return np.asarray(shapely.transform(flat_geometry, points))


def to_working_crs(source: pyproj.CRS, land: Land, file: str, log: Log) -> Points:
    """Way from `source` to the working CRS, and note the move and what it costs."""
    move = plan_move(source, land.crs, land.bounds, file=file)
    log.moved(move.said(file, source, land.crs))
    log.note(shift_issues(move, file))
    return move.points


def agreed_crs(own: pyproj.CRS | None, text: str | None, *, key: str, file: str) -> pyproj.CRS | None:
    """CRS of a file's positions: what the file states, else what the setting `key` names; None where neither does.

    Raises
    ------
    SettingsError
        The setting names no CRS.
    AmbiguousInputError
        File and setting disagree.
    """
    named = asked(text, key)
    if own is not None and named is not None and not own.equals(named, ignore_axis_order=True):
        raise AmbiguousInputError(
            what=f"the file says {own.name} but {key} says {named.name}", where=file, do=f"take out {key}"
        )
    return named if own is None else flat(own)


def asked(text: str | None, key: str) -> pyproj.CRS | None:
    """CRS a setting names, None where it names none."""
    return None if text is None else read_crs(text, key=key)
