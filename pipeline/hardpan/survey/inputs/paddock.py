"""The paddock's ground: boundary and exclusions as clean polygons, from file to working CRS."""

from collections.abc import Collection

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.units import MM_PER
from hardpan.records.issues import Issue
from hardpan.survey import files, geodesy, repairs, vectors
from hardpan.survey.notes import Land, Log, attribute, counted, listed, warned
from hardpan.survey.settings import PaddockSettings
from hardpan.survey.vocabulary import length_mm

CLOSING_SHARE = 0.01
"""A walked line whose ends are nearer than this share of its length was meant to be closed."""
EVERY = "all"
"""What asks for all features of a file together, where none is called so."""
RUN = 10
"""Segments of a line buffered at a time: the buffer of a line that crosses itself costs the square of its length."""


def read_boundary(settings: PaddockSettings, log: Log) -> Land:
    """Paddock in the working CRS, which the boundary decides."""
    bundle = log.keep(files.load(settings.boundary, what="the boundary", most=files.MOST_VECTOR_BYTES))
    layer = vectors.read_layer(bundle, settings.boundary_layer, key="paddock.boundary_layer", leave="points")
    source = geodesy.flat(
        vectors.known_crs(
            layer, geodesy.asked(settings.boundary_crs, "paddock.boundary_crs"), key="paddock.boundary_crs"
        )
    )
    table, empty = repairs.drop_empty(layer.table, bundle.name)
    table, beside = leave_out(table, bundle.name)
    table, picked = pick(table, settings.boundary_feature, settings.name, bundle.name)
    shapes, closed = polygons_of(
        table.geometry.to_numpy(), bundle.name, unit="degrees" if source.is_geographic else "m"
    )
    shapes, repaired = repairs.repair(shapes, bundle.name)
    log.note((*layer.issues, *empty, *beside, *picked, *closed, *repaired))
    whole = shapely.union_all([shape for shape in shapes if shape is not None])
    if whole.is_empty or whole.area <= 0:
        raise InputError(what="the boundary has no area", where=bundle.name, right="a polygon")
    bounds = geodesy.degrees_bounds(whole.bounds, source, bundle.name)
    crs = geodesy.working_crs(settings.crs, source, (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    land = Land(boundary=whole, crs=crs, bounds=bounds)
    moved = geodesy.move_geometry(np.asarray([whole]), geodesy.to_working_crs(source, land, bundle.name, log))
    return Land(boundary=repairs.settled(moved)[0], crs=crs, bounds=bounds)


def read_exclusions(settings: PaddockSettings, land: Land, log: Log) -> gpd.GeoDataFrame:
    """Exclusions, clipped and disjoint; empty where no file is given."""
    opened = open_exclusions(settings, log)
    if opened is None:
        return no_exclusions(land.crs)
    layer, source = opened
    shapes = layer.table.geometry.to_numpy()
    areas = shapely.get_dimensions(shapes) == 2
    mended, repaired = repairs.repair(np.asarray(np.where(areas, shapes, None)), layer.file)
    shapes = np.asarray(np.where(areas, mended, shapes))
    table, empty = repairs.drop_empty(layer.table.set_geometry(shapes), layer.file)
    move = geodesy.to_working_crs(source, land, layer.file, log)
    moved = geodesy.move_geometry(table.geometry.to_numpy(), move)
    moved = repairs.settled(moved)
    frame, left_out = exclude(
        table.set_geometry(moved), land.boundary, land.crs, layer.file, visible_kinds=settings.visible_kinds
    )
    log.note((*layer.issues, *repaired, *empty, *left_out))
    return frame


def open_exclusions(settings: PaddockSettings, log: Log) -> tuple[vectors.Layer, pyproj.CRS] | None:
    """Exclusions as they lie in their file, and the CRS of that; None where there are none."""
    if settings.exclusions is None:
        return None
    bundle = log.keep(files.load(settings.exclusions, what="the exclusions", most=files.MOST_VECTOR_BYTES))
    layer = vectors.read_layer(bundle, settings.exclusions_layer, key="paddock.exclusions_layer", least=0)
    if layer.table.empty:
        log.note((warned("no-exclusions", "holds no features", "no ground is excluded", file=bundle.name),))
        return None
    asked = geodesy.asked(settings.exclusions_crs, "paddock.exclusions_crs")
    return layer, geodesy.flat(vectors.known_crs(layer, asked, key="paddock.exclusions_crs"))


def polygons_of(geometry: np.ndarray, file: str, *, unit: str) -> tuple[np.ndarray, tuple[Issue, ...]]:
    """Geometries of a boundary with walked lines closed where their ends meet.

    Raises
    ------
    InputError
        A line is open, or there are points only.
    """
    dimension = shapely.get_dimensions(geometry)
    if (dimension == 2).all():
        return geometry, ()
    if (dimension == 0).any():
        raise InputError(what="the boundary is given as points", where=file, right="a polygon")
    closed, issues = [], []
    for at, one in enumerate(shapely.line_merge(geometry), start=1):
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


def leave_out(table: gpd.GeoDataFrame, file: str) -> tuple[gpd.GeoDataFrame, tuple[Issue, ...]]:
    """Features that can be ground: lines and points beside polygons, such as a gate or a track, are left out.

    Raises
    ------
    InputError
        No feature has a geometry.
    """
    if table.empty:
        raise InputError(what="its features have no geometry", where=file, do="export it again")
    ground = shapely.get_dimensions(table.geometry.to_numpy()) == 2
    if ground.all() or not ground.any():
        return table, ()
    what = f"{counted(int((~ground).sum()), 'feature')} beside the polygon{'s' if ground.sum() > 1 else ''} "
    place = f"feature {listed((table.index[~ground] + 1).tolist(), 20)}"
    told = warned(
        "not-ground",
        f"{what}{'is a point or line' if (~ground).sum() == 1 else 'are points or lines'}",
        "left out of the boundary",
        file=file,
        place=place,
    )
    return table[ground], (told,)


def pick(
    table: gpd.GeoDataFrame, wanted: str | None, name: str, file: str
) -> tuple[gpd.GeoDataFrame, tuple[Issue, ...]]:
    """Features of the paddock in a boundary file: the one that carries `wanted`, or every one where that is `EVERY`.

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
        if hit.any():
            return table[hit], ()
        if wanted != EVERY:
            raise InputError(what=f"no feature carries {wanted!r}", where=file, do="mend paddock.boundary_feature")
    if len(table) == 1:
        return table, ()
    hit = (texts == name).any(axis=1)
    if hit.any() and wanted is None:
        return table[hit], ()
    naming = [column for column in texts if texts[column].nunique() == len(table)]
    if wanted is None and naming and not all(pd.api.types.is_numeric_dtype(table[column]) for column in naming):
        column = next(column for column in naming if not pd.api.types.is_numeric_dtype(table[column]))
        raise AmbiguousInputError(
            what=f"holds {len(table)} features: {listed(sorted(texts[column]))}",
            where=file,
            do=f'name one in paddock.boundary_feature, or set it to "{EVERY}" to take them together',
        )
    return table, (warned("several-features", f"the boundary has {len(table)} features", "taken together", file=file),)


def exclude(
    table: gpd.GeoDataFrame, boundary: shapely.Geometry, crs: pyproj.CRS, file: str, *, visible_kinds: Collection[str]
) -> tuple[gpd.GeoDataFrame, tuple[Issue, ...]]:
    """Exclusions buffered, clipped to the boundary and disjoint: earlier features keep shared ground.

    One is buried unless its kind is one of `visible_kinds`, so a missing or unknown kind is on the safe side.

    Raises
    ------
    AmbiguousInputError
        A line or point has no buffer, so it covers no ground.
    """
    columns = {str(name).casefold(): name for name in table.columns}
    buffer_m = _buffers(table, columns.get("buffer_m"), file)
    geometry = table.geometry.to_numpy()
    bare = (shapely.get_dimensions(geometry) < 2) & (buffer_m <= 0)
    if bare.any():
        raise AmbiguousInputError(
            what="a line or point has no buffer, so it covers no ground",
            where=f"{file} feature {listed([int(at) + 1 for at in np.flatnonzero(bare)])}",
            do="give it an attribute buffer_m in metres",
        )
    shapes = [_buffered(one, width) for one, width in zip(geometry, buffer_m, strict=True)]
    inside = repairs.clipped(np.asarray([*shapes, None], dtype=object)[:-1], boundary)
    areas = repairs.apart(inside, file)
    visible = {kind.strip().casefold() for kind in visible_kinds}
    kinds = [_text(table, columns, "kind", at) for at in range(len(table))]
    rows = [
        (_text(table, columns, "name", at), kinds[at], kinds[at].strip().casefold() not in visible, buffer_m[at], area)
        for at, area in enumerate(areas)
        if area is not None
    ]
    outside = [at + 1 for at, area in enumerate(areas) if area is None]
    frame = gpd.GeoDataFrame(
        rows, columns=["name", "kind", "buried", "buffer_m", "geometry"], geometry="geometry", crs=crs
    )
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


def _buffered(geometry: shapely.Geometry, width_m: float) -> shapely.Geometry:
    """The ground within `width_m`; of lines and points with many vertices piece by piece, however they are tangled."""
    if not width_m:
        return geometry
    if shapely.get_num_coordinates(geometry) <= RUN or shapely.get_dimensions(geometry) == 2:
        return shapely.buffer(geometry, width_m)
    pieces: list[shapely.Geometry] = []
    for part in shapely.get_parts(geometry):
        xy = shapely.get_coordinates(part)
        starts = range(0, max(len(xy) - 1, 1), RUN)
        pieces += [shapely.LineString(xy[at : at + RUN + 1]) if len(xy) > 1 else part for at in starts]
    return shapely.union_all(shapely.buffer(np.asarray(pieces, dtype=object), width_m))


def _buffers(table: gpd.GeoDataFrame, column: str | None, file: str) -> np.ndarray:
    """Width of the buffer of each feature in metres, 0 where none is stated."""
    texts = [""] * len(table) if column is None else [attribute(value) for value in table[column]]
    buffer_m = np.asarray([length_mm(text, "m") / MM_PER["m"] if text else 0.0 for text in texts])
    bad = np.flatnonzero(~((buffer_m >= 0) & np.isfinite(buffer_m)))
    if len(bad):
        raise InputError(
            what=f"buffer_m {texts[bad[0]][:40]!r} is negative or no length",
            where=f"{file} feature {int(bad[0]) + 1}",
            right="metres, 0 or more",
        )
    return buffer_m


def _text(table: gpd.GeoDataFrame, columns: dict[str, str], name: str, at: int) -> str:
    return attribute(table[columns[name]].iloc[at]) if name in columns else ""


def no_exclusions(crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Table of a paddock without exclusions."""
    kinds = {"name": str, "kind": str, "buried": bool, "buffer_m": float}
    columns = {name: pd.Series(dtype=kind) for name, kind in kinds.items()}
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries([], crs=crs), crs=crs)
