"""Soil-type polygons: overlaps and gaps resolved by one rule, hectares told."""

from collections.abc import Mapping
from typing import TypeAlias

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from hardpan.core.arrays import Floats
from hardpan.core.errors import AmbiguousInputError, Faults, InputError
from hardpan.core.said import Said, area
from hardpan.core.units import M2_PER_HA
from hardpan.records.issues import Issue
from hardpan.records.soils import SoilType
from hardpan.survey import repairs
from hardpan.survey.notes import attribute, counted, listed, warned
from hardpan.survey.settings import SoilSettings
from hardpan.survey.soil_labels import UNMAPPED, default_soil, name_soils, refuse_wrong_targets
from hardpan.survey.vocabulary import SHALLOWEST_CLAY_MM, length_mm

TYPE_FIELDS = ("soil_type", "soiltype", "soil", "soil_class", "type", "class", "texture", "name", "label")
"""Attributes looked for where the one in the settings is absent."""
SLIVER_WIDTH_M = 5.0
"""Unmapped strips narrower than this are a matter of digitising and fall to their neighbour."""
_Row: TypeAlias = tuple[str, str, float, shapely.Geometry]
"""Soil type, label, depth to clay, polygon."""
DEEPEST_CLAY_MM = 10_000.0
"""A depth to clay of more is a mark for "none met"."""
TOLD_HA = 0.01
"""Overlaps and strips of less are rounding of coordinates and are mended without a word."""


def one_soil(
    boundary: shapely.Geometry, crs: pyproj.CRS, settings: SoilSettings, soil_types: Mapping[str, SoilType]
) -> tuple[gpd.GeoDataFrame, tuple[Issue, ...]]:
    """Whole paddock as the default soil type, or as the general type of unmapped ground where none is set.

    Raises
    ------
    AmbiguousInputError
        No default is set, and the catalog has no general type.
    """
    name = default_soil(settings, soil_types)
    if name is None:
        raise AmbiguousInputError(
            what="neither soil polygons nor a default soil type are given",
            where="[soil]",
            right=f"soil.polygons, or soil.default_type as one of {listed(sorted(soil_types))}",
            do="set soil.default_type",
        )
    told: tuple[Issue, ...] = ()
    if settings.default_type is None:
        named = [f'"{one}"' for one in soil_types if one != UNMAPPED]
        told = (
            warned(
                "no-soil",
                "neither soil polygons nor a soil type are given",
                f"the whole paddock is taken as sand or sand over clay of no known kind, with wide ranges ({name!r}); "
                f"add default_type = ... to [soil], one of {listed(named, 12)}",
                file="[soil]",
            ),
        )
    return _frame([(name, "", np.nan, boundary)], crs), told


def map_soils(
    table: gpd.GeoDataFrame,
    boundary: shapely.Geometry,
    settings: SoilSettings,
    soil_types: Mapping[str, SoilType],
    *,
    crs: pyproj.CRS,
    file: str,
) -> tuple[gpd.GeoDataFrame, tuple[Issue, ...]]:
    """Soil polygons that cover the boundary once.

    Parameters
    ----------
    table : GeoDataFrame
        Features as read, valid polygons in the working CRS.
    boundary : Geometry
        The paddock in the working CRS.

    Raises
    ------
    AmbiguousInputError
        A label is in neither the catalog nor the mapping, or ground is unmapped, and no default type is set.
    InputError
        The attribute is absent, or no polygon meets the paddock.
    """
    labels, names, clay, issues = describe(table, settings, soil_types, file)
    geometry = repairs.clipped(table.geometry.to_numpy(), boundary)
    rows = [
        (name, label, depth, one)
        for name, label, depth, one in zip(names, labels, clay, map(repairs.polygonal, geometry), strict=True)
        if one is not None
    ]
    if not rows:
        raise InputError(what="no soil polygon meets the paddock", where=file, do="check the CRS in soil.crs")
    rows, overlap = _resolve_overlaps(rows, file)
    # Less the polygons as drawn, not as clipped: edges that run along the boundary would have to be told apart again.
    bare = shapely.difference(boundary, shapely.union_all(table.geometry.to_numpy()))
    rows, gap = _fill_gaps(rows, bare, settings, soil_types, file)
    return _frame(rows, crs), (*issues, *overlap, *gap)


def describe(
    table: gpd.GeoDataFrame, settings: SoilSettings, soil_types: Mapping[str, SoilType], file: str
) -> tuple[list[str], list[str], Floats, tuple[Issue, ...]]:
    """Label, soil type and depth to clay in mm (NaN where none is stated) of each polygon.

    Raises
    ------
    AmbiguousInputError
        A label is in neither the catalog nor the mapping, and no default type is set; the unit of clay is not stated.
    InputError
        An attribute is absent.
    """
    faults = Faults()
    with faults.gathered():
        refuse_wrong_targets(settings, soil_types)
        labels = [attribute(value) for value in table[type_field(table, settings, file)]]
        names, issues = name_soils(labels, settings, soil_types, file)
    with faults.gathered():
        clay, unread = _clay_depth(table, settings, file)
    faults.refuse()
    return labels, names, clay, (*issues, *unread)


def type_field(table: gpd.GeoDataFrame, settings: SoilSettings, file: str) -> str:
    """Attribute with the soil type; other spellings are recognised only where the settings name none."""
    named = "type_field" in settings.model_fields_set
    found = _column(table, settings.type_field, () if named else TYPE_FIELDS)
    if found is None:
        raise _no_attribute(table, settings.type_field, file, key="soil.type_field")
    return found


def _column(table: gpd.GeoDataFrame, wanted: str, others: tuple[str, ...] = ()) -> str | None:
    folded = {name.casefold(): name for name in _attributes(table)}
    # a shapefile cuts names to ten characters
    names = (wanted.casefold(), wanted.casefold()[:10], *others)
    return next((folded[name] for name in names if name in folded), None)


def _attributes(table: gpd.GeoDataFrame) -> list[str]:
    return [str(name) for name in table.columns if name != table.geometry.name]


def _no_attribute(table: gpd.GeoDataFrame, wanted: str, file: str, *, key: str) -> InputError:
    columns = _attributes(table)
    return InputError(
        what=f"no attribute {wanted!r}; the file has {listed(columns) if columns else 'no attributes'}",
        where=file,
        do=f"name the right one in {key}",
    )


def _clay_depth(table: gpd.GeoDataFrame, settings: SoilSettings, file: str) -> tuple[np.ndarray, tuple[Issue, ...]]:
    """Depth to clay of each polygon in mm, NaN where none is stated or it cannot be one."""
    column = _column(table, settings.clay_depth_field)
    if column is None:
        if "clay_depth_field" in settings.model_fields_set:
            raise _no_attribute(table, settings.clay_depth_field, file, key="soil.clay_depth_field")
        return np.full(len(table), np.nan), _not_read(table, file)
    texts = [attribute(value) for value in table[column]]
    unit = settings.clay_depth_unit or "mm"
    depth_mm = np.asarray([length_mm(text, unit) for text in texts], dtype=np.float64)
    bad = np.asarray([text != "" for text in texts]) & ~((depth_mm >= 0) & (depth_mm <= DEEPEST_CLAY_MM))
    thin = ~bad & (depth_mm > 0) & (depth_mm < SHALLOWEST_CLAY_MM)
    if settings.clay_depth_unit is None and thin.any() and not (depth_mm >= SHALLOWEST_CLAY_MM).any():
        raise AmbiguousInputError(
            what=f"every depth to clay in {column} is less than {SHALLOWEST_CLAY_MM:g} mm, such as "
            f"{texts[int(np.argmax(thin))]!r}",
            where=file,
            right="depths in mm, or their unit",
            do='add clay_depth_unit = "cm" to [soil] (or "in", "m"; "mm" if they are right)',
        )
    told = {
        "clay-depth-unread": (bad, f"is no depth in {unit}", "taken as unknown"),
        "clay-depth-shallow": (
            thin, f"is less than {SHALLOWEST_CLAY_MM:g} mm", "used as it is; check it, or set soil.clay_depth_unit"
        ),
    }  # fmt: skip
    issues = tuple(
        warned(
            code,
            f"{column} of {counted(int(hit.sum()), 'polygon')} {what}, such as {texts[int(np.argmax(hit))]!r}",
            done,
            file=file,
            place=f"feature {listed((np.flatnonzero(hit) + 1).tolist())}",
        )
        for code, (hit, what, done) in told.items()
        if hit.any()
    )
    return np.where(bad, np.nan, depth_mm), issues


def _not_read(table: gpd.GeoDataFrame, file: str) -> tuple[Issue, ...]:
    """Remark on attributes that speak of clay and are not read, none where there are none."""
    others = [name for name in _attributes(table) if "clay" in name.casefold() or "duplex" in name.casefold()]
    if not others:
        return ()
    done = f'no depth to clay is read; if one is it, add clay_depth_field = "{others[0]}" to [soil]'
    return (warned("clay-depth-not-read", f"has {listed(others)} but no attribute clay_depth_mm", done, file=file),)


def _resolve_overlaps(rows: list[_Row], file: str) -> tuple[list[_Row], tuple[Issue, ...]]:
    """Rows without overlaps: the smaller polygon keeps the ground, of equals the first by name."""
    ranked = sorted(rows, key=lambda row: (round(row[3].area, 3), row[0], row[1], row[3].wkb))
    left = repairs.apart(np.asarray([row[3] for row in ranked], dtype=object), file)
    lost_ha = (sum(row[3].area for row in ranked) - sum(one.area for one in left if one is not None)) / M2_PER_HA
    kept = [(*row[:3], one) for row, one in zip(ranked, left, strict=True) if one is not None]
    if lost_ha <= TOLD_HA:
        return kept, ()
    return kept, (
        warned(
            "soil-overlap",
            Said("soil polygons overlap on {lost}", lost=area(lost_ha)),
            "the smaller polygon keeps the ground, of equals the first by name",
            file=file,
        ),
    )


def _fill_gaps(
    rows: list[_Row], bare: shapely.Geometry, settings: SoilSettings, soil_types: Mapping[str, SoilType], file: str
) -> tuple[list[_Row], tuple[Issue, ...]]:
    """Rows without gaps: slivers of the `bare` ground fall to the nearest polygon, the rest to the default type."""
    parts = shapely.get_parts(bare)
    parts = [part for part in parts if part.geom_type == "Polygon" and part.area > 0]
    slivers = [part for part in parts if 2 * part.area / part.length < SLIVER_WIDTH_M]
    gaps = [part for part in parts if 2 * part.area / part.length >= SLIVER_WIDTH_M]
    issues = []
    rows = _give_to_nearest(rows, slivers)
    sliver_ha = sum(part.area for part in slivers) / M2_PER_HA
    if sliver_ha > TOLD_HA:
        done = "given to the nearest polygon"
        what = Said("strips of {bare} have no soil polygon", bare=area(sliver_ha))
        issues.append(warned("soil-sliver", what, done, file=file))
    if not gaps:
        return rows, tuple(issues)
    gap_ha = sum(part.area for part in gaps) / M2_PER_HA
    default = default_soil(settings, soil_types)
    if default is None:
        raise AmbiguousInputError(
            what=f"{gap_ha:.2f} ha of the paddock have no soil polygon", where=file, do="set soil.default_type"
        )
    done = f"taken as the default type {default}"
    what = Said("{bare} have no soil polygon", bare=area(gap_ha))
    issues.append(warned("soil-gap", what, done, file=file))
    ground = gaps[0] if len(gaps) == 1 else shapely.MultiPolygon(gaps)
    return [*rows, (default, "", np.nan, ground)], tuple(issues)


def _give_to_nearest(rows: list[_Row], slivers: list[shapely.Polygon]) -> list[_Row]:
    if not slivers:
        return rows
    nearest = shapely.STRtree([row[3] for row in rows]).nearest(slivers)
    own: dict[int, list[shapely.Polygon]] = {}
    for sliver, at in zip(slivers, nearest.tolist(), strict=True):
        own.setdefault(at, []).append(sliver)
    grown = list(rows)
    for at, parts in own.items():
        whole = repairs.polygonal(shapely.union_all([rows[at][3], *parts]))
        grown[at] = (*rows[at][:3], rows[at][3] if whole is None else whole)
    return grown


def _frame(rows: list[_Row], crs: pyproj.CRS) -> gpd.GeoDataFrame:
    columns = ["soil_type", "label", "clay_depth_mm", "geometry"]
    return gpd.GeoDataFrame(rows, columns=columns, geometry="geometry", crs=crs).astype({"clay_depth_mm": "float64"})
