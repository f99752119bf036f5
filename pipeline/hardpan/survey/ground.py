"""The paddock's ground: boundary and exclusions as clean polygons."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.records.issues import Issue
from hardpan.survey.words import listed, warned

CLOSING_SHARE = 0.01
"""A walked line whose ends are nearer than this share of its length was meant to be closed."""


def polygons_of(geometry: np.ndarray, file: str, *, unit: str) -> tuple[np.ndarray, tuple[Issue, ...]]:
    """Give the geometries of a boundary with walked lines closed where their ends meet.

    Raises
    ------
    InputError
        A line is open, a geometry is null, or there are points only.
    """
    if shapely.is_missing(geometry).any():
        at = int(np.flatnonzero(shapely.is_missing(geometry))[0]) + 1
        raise InputError(what="a feature has no geometry", where=f"{file} feature {at}", do="export it again")
    dimension = shapely.get_dimensions(geometry)
    if (dimension == 2).all():
        return geometry, ()
    if (dimension == 0).any():
        raise InputError(what="the boundary is given as points", where=file, right="a polygon")
    closed, issues = [], []
    for at, one in enumerate(geometry, start=1):
        if isinstance(one, shapely.LineString) and len(one.coords) >= 4:
            ends = shapely.Point(one.coords[0]).distance(shapely.Point(one.coords[-1]))
            if ends <= CLOSING_SHARE * one.length:
                closed.append(shapely.Polygon(one.coords))
                issues.append(warned("line-closed", "the boundary is a line", "closed to a polygon", file=file))
                continue
            raise InputError(
                what=f"the boundary is an open line, its ends are {ends:.6g} {unit} apart",
                where=f"{file} feature {at}",
                right="a polygon",
                do="close it",
            )
        if dimension[at - 1] == 2:
            closed.append(one)
            continue
        raise InputError(what=f"the boundary is a {one.geom_type}", where=f"{file} feature {at}", right="a polygon")
    return np.asarray(closed, dtype=object), tuple(issues)


def pick(
    table: gpd.GeoDataFrame, wanted: str | None, name: str, file: str
) -> tuple[gpd.GeoDataFrame, tuple[Issue, ...]]:
    """Give the features of the paddock out of a boundary file.

    Raises
    ------
    AmbiguousInputError
        Several features with different names, and none is asked for.
    InputError
        The one asked for is not there.
    """
    texts = table.drop(columns="geometry").astype(str)
    if wanted is not None:
        hit = (texts == wanted).any(axis=1)
        if not hit.any():
            raise InputError(what=f"no feature carries {wanted!r}", where=file, do="mend paddock.boundary_feature")
        return table[hit], ()
    if len(table) == 1:
        return table, ()
    hit = (texts == name).any(axis=1)
    if hit.any():
        return table[hit], ()
    naming = [column for column in texts if texts[column].nunique() == len(table)]
    if naming and not all(pd.api.types.is_numeric_dtype(table[column]) for column in naming):
        column = next(column for column in naming if not pd.api.types.is_numeric_dtype(table[column]))
        raise AmbiguousInputError(
            what=f"holds {len(table)} features: {listed(sorted(texts[column]))}",
            where=file,
            do="name one in paddock.boundary_feature",
        )
    return table, (warned("several-features", f"the boundary has {len(table)} features", "taken together", file=file),)


def exclude(
    table: gpd.GeoDataFrame, boundary: shapely.Geometry, crs: pyproj.CRS, file: str
) -> tuple[gpd.GeoDataFrame, tuple[Issue, ...]]:
    """Give the exclusions buffered, clipped to the boundary and disjoint: earlier features keep shared ground.

    Raises
    ------
    AmbiguousInputError
        A line or point has no buffer, so it covers no ground.
    """
    columns = {str(name).casefold(): name for name in table.columns}
    buffer_m = _numbers(table, columns.get("buffer_m"), file)
    geometry = table.geometry.to_numpy()
    bare = (shapely.get_dimensions(geometry) < 2) & (buffer_m <= 0)
    if bare.any():
        raise AmbiguousInputError(
            what="a line or point has no buffer, so it covers no ground",
            where=f"{file} feature {listed([int(at) + 1 for at in np.flatnonzero(bare)])}",
            do="give it an attribute buffer_m in metres",
        )
    taken: shapely.Geometry = shapely.MultiPolygon()
    rows, outside = [], []
    for at, (one, width) in enumerate(zip(geometry, buffer_m, strict=True)):
        area = shapely.intersection(shapely.buffer(one, width) if width else one, boundary)
        left = shapely.difference(area, taken)
        parts = [part for part in shapely.get_parts(left) if part.geom_type == "Polygon" and part.area > 0]
        if not parts:
            outside.append(at + 1)
            continue
        taken = shapely.union(taken, area)
        rows.append((_text(table, columns, "name", at), _text(table, columns, "kind", at), width, _joined(parts)))
    frame = gpd.GeoDataFrame(rows, columns=["name", "kind", "buffer_m", "geometry"], geometry="geometry", crs=crs)
    issues: tuple[Issue, ...] = ()
    if outside:
        issues = (
            warned(
                "exclusion-outside",
                f"{len(outside)} exclusions cover no ground of their own in the paddock",
                "left out",
                file=file,
                place=f"feature {listed(outside)}",
            ),
        )
    return frame, issues


def _joined(parts: list[shapely.Polygon]) -> shapely.Geometry:
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _numbers(table: gpd.GeoDataFrame, column: str | None, file: str) -> np.ndarray:
    if column is None:
        return np.zeros(len(table))
    values = pd.to_numeric(table[column], errors="coerce").to_numpy(dtype=np.float64)
    if ((values < 0) | np.isinf(values)).any():
        raise InputError(what="buffer_m is negative or infinite", where=file, right="metres, 0 or more")
    return np.asarray(np.nan_to_num(values))


def _text(table: gpd.GeoDataFrame, columns: dict[str, str], name: str, at: int) -> str:
    value = table[columns[name]].iloc[at] if name in columns else None
    return "" if value is None or value != value else str(value)  # noqa: PLR0124 NaN is not equal to itself


def no_exclusions(crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Give the table of a paddock without exclusions."""
    return gpd.GeoDataFrame(
        {"name": pd.Series(dtype=str), "kind": pd.Series(dtype=str), "buffer_m": pd.Series(dtype=float)},
        geometry=gpd.GeoSeries([], crs=crs),
        crs=crs,
    )
