"""What a file says, held against the plan: zone by zone, place by place and cell by cell."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import ReadBackError
from hardpan.core.units import M2_PER_HA
from hardpan.outputs.geodesy import to_wgs84
from hardpan.spatial.polygons import distances_to_borders, geodesic_ha

POINTS = 500
"""Random places in the paddock at which every file must say what the plan says, besides one in each part of a zone."""

_CLEAR_M = 0.1
"""Places keep so far from borders at least: rounding to 7 decimals moves a border by up to 8 mm."""

_ROUNDING_M = 0.008
"""Half a diagonal of the square of 7 decimals, 11 mm: what rounding may move a border by, all along it."""

_OTHER_ELLIPSOID = 1e-3
"""Share by which hectares may differ: those of the plan are on the ellipsoid of its own datum, those of a file on that
of WGS 84. Ellipsoids in use differ by up to 3e-4 in area, old datums by as much again in scale."""

_SAME_MM = 0.5
"""Depths nearer than this are the same: files hold whole millimetres."""

_TIE_M = 1e-3
"""A border so near the centre of a cell leaves open which side the cell is on."""

_MISDRAWN = "zones swapped, lost or moved, or rings wound the wrong way, do that"
_MISPLACED = "a raster turned, shifted or drawn from other zones does that"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """Places in the paddock, and what the plan says there."""

    degrees: Floats
    """(n, 2), longitude and latitude."""
    zone: Ints
    depth_mm: Floats
    clear_m: Floats
    """Distance to the nearest border."""

    def clear_of_borders(self, by_m: float) -> "Places":
        """Places farther from borders than `by_m`."""
        far = self.clear_m > by_m
        return Places(
            degrees=self.degrees[far], zone=self.zone[far], depth_mm=self.depth_mm[far], clear_m=self.clear_m[far]
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """What every file must say of a plan."""

    zones: gpd.GeoDataFrame
    """One row a zone, index `zone`: `kind`, `depth_mm`, `area_ha`, polygons in the working CRS."""
    give_ha: pd.Series
    """By how much the hectares of each zone may differ: rounding of its border, and another ellipsoid."""
    places: Places
    """The innermost of each part of a zone, and random ones."""

    @property
    def depth_mm(self) -> pd.Series:
        """Depth of each zone."""
        return pd.Series(self.zones["depth_mm"], dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """Polygons as read from a file."""

    shapes: np.ndarray
    """Polygon or MultiPolygon, longitude and latitude."""
    depth_mm: Floats
    zone: Ints | None = None
    """Zone of each, where the file tells."""


def expected_of(zones: gpd.GeoDataFrame, *, seed: int) -> Expected:
    """What a file of `zones` (`zone`, `kind`, `depth_mm`, `area_ha`, polygons in the working CRS) must say."""
    zones = zones.set_index(zones["zone"].to_numpy(np.int64)).sort_index()
    give_ha = np.maximum(_OTHER_ELLIPSOID * zones["area_ha"], zones.geometry.length * _ROUNDING_M / M2_PER_HA)
    return Expected(zones=zones, give_ha=give_ha, places=_places(zones, seed))


def _places(zones: gpd.GeoDataFrame, seed: int) -> Places:
    shapes = zones.geometry.to_numpy()
    parts, owner = shapely.get_parts(shapes, return_index=True)
    inner = shapely.get_point(shapely.maximum_inscribed_circle(parts), 0)
    bounds = shapely.total_bounds(shapes)
    tried = shapely.points(np.random.default_rng(seed).uniform(bounds[:2], bounds[2:], (8 * POINTS, 2)))
    inside, hit = shapely.STRtree(tried).query(shapes, predicate="contains")
    few = np.argsort(hit)[:POINTS]
    points = np.concatenate([inner, tried[hit[few]]])
    zone = zones.index.to_numpy()[np.concatenate([owner, inside[few]])]
    degrees, _ = to_wgs84(points, zones.crs)
    places = Places(
        degrees=shapely.get_coordinates(degrees),
        zone=zone,
        depth_mm=zones.loc[zone, "depth_mm"].to_numpy(float),
        clear_m=distances_to_borders(points, shapes),
    )
    return places.clear_of_borders(_CLEAR_M)


def hold_polygons(file: str, found: Found, expected: Expected) -> None:
    """Check the polygons of a file against the plan.

    Raises
    ------
    ReadBackError
        A zone is missing or new, has another depth or other hectares than planned, or does not lie where planned.
    """
    if found.zone is None:
        _hold_depths(file, found.depth_mm, expected)
    else:
        _hold_zones(file, found.zone, found.depth_mm, expected)
    hold_places(file, found, expected.places)
    _hold_hectares(file, found, expected)


def hold_places(file: str, found: Found, places: Places) -> None:
    """Check what the polygons of a file say at places against the plan.

    Raises
    ------
    ReadBackError
        A place lies in no polygon, or in one of another zone or depth.
    """
    owner, hit = shapely.STRtree(shapely.points(places.degrees)).query(found.shapes, predicate="contains")
    off = np.abs(found.depth_mm[owner] - places.depth_mm[hit]) > _SAME_MM
    if found.zone is not None:
        off |= found.zone[owner] != places.zone[hit]
    wrong = [(place, "nothing") for place in np.setdiff1d(np.arange(places.zone.size), hit)]
    for at in np.flatnonzero(off):
        zone = np.nan if found.zone is None else found.zone[owner[at]]
        wrong.append((hit[at], _said(zone, found.depth_mm[owner[at]])))
    for place, says in wrong[:1]:
        raise ReadBackError(
            found=f"it has {says} at {_where(places.degrees[place])}",
            where=file,
            planned=f"{_said(places.zone[place], places.depth_mm[place])} as planned",
            why=_MISDRAWN,
        )


def hold_raster(file: str, bands: tuple[Floats, Floats], grid: tuple[float, float, float], expected: Expected) -> None:
    """Check zone and depth of every cell of a raster against the plan at the cell's centre.

    Hectares need no comparing then: those of a raster are what the centres of its cells make of a plan.

    Parameters
    ----------
    bands : tuple of (n_rows, n_cols)
        Zone and depth in mm, NaN off the paddock.
    grid : tuple of float
        West edge, north edge and cell in the working CRS, m.

    Raises
    ------
    ReadBackError
        A cell has another zone or depth than the plan, or one where the plan has none, or none where it has.
    """
    zone, depth_mm = (band.ravel() for band in bands)
    (row, column), (west, north, cell_m) = np.indices(bands[0].shape, dtype=np.float64), grid
    x_m, y_m = west + (column.ravel() + 0.5) * cell_m, north - (row.ravel() + 0.5) * cell_m
    right = np.isnan(zone) & np.isnan(depth_mm)
    shapes = expected.zones.geometry.to_numpy()
    right[right] = ~_surely_in(shapely.coverage_union_all(shapes), x_m[right], y_m[right])
    for number, planned_mm, shape in zip(expected.zones.index, expected.depth_mm, shapes, strict=True):
        own = (zone == number) & (np.abs(depth_mm - planned_mm) <= _SAME_MM)
        right[own] = _in_or_on(shape, x_m[own], y_m[own])
    if not right.all():
        wrong = int(np.argmin(right))
        centre = shapely.Point(x_m[wrong], y_m[wrong])
        degrees = shapely.get_coordinates(to_wgs84(np.array([centre]), expected.zones.crs)[0])[0]
        there = expected.zones.index[shapely.intersects(shapes, centre)]
        right_said = _said(there[0], expected.depth_mm[there[0]]) if len(there) else "nothing"
        raise ReadBackError(
            found=f"the cell at {_where(degrees)} says {_said(zone[wrong], depth_mm[wrong])}",
            where=file,
            planned=f"{right_said} as planned",
            why=_MISPLACED,
        )


def _surely_in(shape: shapely.Geometry, x_m: Floats, y_m: Floats) -> Bools:
    """Which points lie inside and not on the border."""
    shapely.prepare(shape)
    inside = np.asarray(shapely.contains_xy(shape, x_m, y_m))
    border = shapely.boundary(shape)
    shapely.prepare(border)
    inside[inside] = ~shapely.dwithin(border, shapely.points(x_m[inside], y_m[inside]), _TIE_M)
    return inside


def _in_or_on(shape: shapely.Geometry, x_m: Floats, y_m: Floats) -> Bools:
    """Which points lie inside or on the border."""
    shapely.prepare(shape)
    inside = np.asarray(shapely.contains_xy(shape, x_m, y_m))
    inside[~inside] = shapely.dwithin(shape, shapely.points(x_m[~inside], y_m[~inside]), _TIE_M)
    return inside


def _hold_zones(file: str, zone: Ints, depth_mm: Floats, expected: Expected) -> None:
    """Check the zones that a file lists, and the depth of each, against the plan."""
    listed, planned = sorted(set(zone.tolist())), expected.zones.index.tolist()
    if listed != planned:
        what, right = (f"zones {', '.join(map(str, which))}" for which in (listed, planned))
        raise ReadBackError(found=f"it holds {what}", where=file, planned=f"{right} as planned", why=_MISDRAWN)
    off = np.abs(depth_mm - expected.depth_mm[zone].to_numpy()) > _SAME_MM
    for at in np.flatnonzero(off)[:1]:
        raise ReadBackError(
            found=f"it holds {_said(zone[at], depth_mm[at])}",
            where=file,
            planned=f"{_said(zone[at], expected.depth_mm[zone[at]])} as planned",
            why="depths given to other zones do that",
        )


def _hold_depths(file: str, depth_mm: Floats, expected: Expected) -> None:
    """Check the depths of a file that lists no zones against the plan."""
    listed, planned = sorted(set(depth_mm.tolist())), sorted(set(expected.depth_mm))
    if listed != planned:
        what, right = (f"depths of {', '.join(f'{depth:g}' for depth in which)} mm" for which in (listed, planned))
        raise ReadBackError(found=f"it holds {what}", where=file, planned=f"{right} as planned", why=_MISDRAWN)


def _hold_hectares(file: str, found: Found, expected: Expected) -> None:
    """Check hectares against the plan, zone by zone, or depth by depth where a file lists no zones."""
    by_zone = found.zone is not None
    own = found.depth_mm if found.zone is None else found.zone
    key = expected.depth_mm.to_numpy() if found.zone is None else expected.zones.index.to_numpy()
    planned_ha, give_ha = (column.groupby(key).sum() for column in (expected.zones["area_ha"], expected.give_ha))
    found_ha = pd.Series(geodesic_ha(found.shapes)).groupby(own).sum()
    off_ha = found_ha - planned_ha
    for one in off_ha.index[off_ha.abs() > give_ha][:1]:
        name = _said(one, expected.depth_mm[one]) if by_zone else f"{one:g} mm"
        more = f"{abs(off_ha[one]):.4f} ha {'more' if off_ha[one] > 0 else 'less'} than planned"
        raise ReadBackError(
            found=f"{name} has {found_ha[one]:.4f} ha, {more}",
            where=file,
            planned=f"{planned_ha[one]:.4f} ha as planned, give or take {give_ha[one]:.4f}",
            why=_MISDRAWN,
        )


def _said(zone: float, depth_mm: float) -> str:
    return f"zone {zone:.0f} ({depth_mm:g} mm)" if np.isfinite(zone) else f"no zone ({depth_mm:g} mm)"


def _where(degrees: Floats) -> str:
    """Latitude and longitude, as a map is asked for them."""
    return f"{degrees[1]:.6f}, {degrees[0]:.6f}"
