"""Class rasters to polygons that share every border: no gaps, no overlaps, the boundary untouched."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Bools, Ints, Shapes
from hardpan.core.units import M2_PER_HA
from hardpan.records.frame import Frame
from hardpan.spatial.cells import cells_at
from hardpan.spatial.polygons import edges_of, middles_of
from hardpan.spatial.regions import OUTSIDE, spread
from hardpan.spatial.runs import runs_over
from hardpan.zones.edges import Region, driven_borders
from hardpan.zones.thinning import NODE_GRID_M, ThinOutline, thin_outline

MOST_CHANGE = 0.01
"""Simplifying may change the area of a class by so much (share); else the tolerance is halved."""
HALVINGS = 4
"""Tolerances tried below the first; after the last the borders keep their steps."""

THIN = 0.1
"""Share of a cell by which the outline may move while borders are drawn: they are known to half a cell."""
SAME_GROUND = 1e-9
"""Rounding of areas, as a share."""
PASSES = 5
"""A sliver that joins a sliver may have to move again; more passes than this were never needed on a grid's edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """How borders are driven."""

    tolerance_m: float
    """Farthest a border may move when it is straightened, half as far again when turned; 0: it keeps its steps."""
    width_m: float = 0.0
    """Of the implement."""
    heading_deg: float | None = None
    """Way of travel; None: that of the longest runs in each shape."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coverage:
    """Polygons of the classes and of the excluded ground, a valid coverage of the boundary."""

    classes: Ints
    """(n_classes,): class of each polygon, rising."""
    shapes: Shapes
    """Polygon or MultiPolygon of each class."""
    excluded: gpd.GeoDataFrame
    """Columns `name`, `geometry`, with the vertices of their neighbours."""
    tolerance_m: float
    """Tolerance the shared borders were simplified with; 0: not at all."""
    cut_off_ha: float
    """Ground cut off by exclusions, too small to enter, that joined them."""
    cut_off_by: tuple[str, ...]
    """Names of those exclusions."""
    sliver_ha: float
    """Ground the outline cut into parts too small, that joined a neighbour."""


def outline_classes(
    classes: Ints,
    soil_of_class: Ints,
    frame: Frame,
    outline: shapely.Geometry,
    excluded: gpd.GeoDataFrame,
    *,
    drive: Drive,
    least_m2: float,
    regions: Sequence[Region] = (),
) -> Coverage:
    """Polygons of the classes inside `outline`, their shared borders drawn as they are driven.

    Parameters
    ----------
    classes : (n_rows, n_cols)
        Class of each cell with ground, -1 elsewhere.
    soil_of_class : (n_classes,)
        A part too small joins one on its own soil where it can.
    outline : Geometry
        Ground to cover; its own edges are never simplified.
    excluded : GeoDataFrame
        Columns `name`, `geometry`: the rest of the paddock.
    regions : Sequence of Region
        Ground whose own borders are exact; elsewhere borders follow the cells.
    """
    regions = [*regions, _elsewhere(regions, outline, classes)]
    soil_lines = _soil_lines(regions[:-1], outline)
    lines = [*shapely.boundary(excluded.geometry.to_numpy()), *_steps(regions, frame, outline), *soil_lines]
    thin = thin_outline(outline, lines, THIN * frame.cell_m)
    faces = _faces(thin, lines)
    inside = shapely.point_on_surface(faces)
    class_of, hole_of = _classes_at(inside, regions, frame), _holes_at(inside, excluded)
    shapely.prepare(thin.shape)
    ground = shapely.contains_xy(thin.shape, shapely.get_x(inside), shapely.get_y(inside))
    parts, part_class = faces[ground], class_of[ground]
    holes, part_hole = faces[hole_of != OUTSIDE], hole_of[hole_of != OUTSIDE]
    parts, part_class, sliver_m2 = _without_slivers(parts, part_class, soil_of_class, least_m2)
    adrift, beside = _cut_off(parts, holes, least_m2)
    if adrift.all():
        adrift, beside = np.zeros_like(adrift), beside[:0]
    holes, part_hole = np.append(holes, parts[adrift]), np.append(part_hole, part_hole[beside])
    numbers, shapes = _dissolved(parts[~adrift], part_class[~adrift])
    shapes, used_m = _driven(
        shapes, thin, shapely.multilinestrings(soil_lines), drive, cell_m=frame.cell_m, least_m2=least_m2
    )
    kept, hole_shapes = _dissolved(holes, part_hole)
    hole_shapes = thin.restored(hole_shapes)
    return Coverage(
        classes=numbers,
        shapes=shapes,
        excluded=excluded.iloc[kept].set_geometry(list(hole_shapes), crs=excluded.crs).reset_index(drop=True),
        tolerance_m=used_m,
        cut_off_ha=float(shapely.area(thin.restored(parts[adrift])).sum()) / M2_PER_HA,
        cut_off_by=tuple(excluded["name"].iloc[np.unique(part_hole[beside])]),
        sliver_ha=sliver_m2 / M2_PER_HA,
    )


def _elsewhere(regions: Sequence[Region], outline: shapely.Geometry, classes: Ints) -> Region:
    """What of the ground no region holds."""
    held = shapely.union_all([region.shape for region in regions])
    return Region(shape=shapely.difference(outline, held), classes=spread(classes))


def _soil_lines(regions: Sequence[Region], outline: shapely.Geometry) -> Shapes:
    """Borders of regions inside the outline, without those that are its own."""
    edges, _ = edges_of(np.array([region.shape for region in regions], dtype=object))
    own, _ = edges_of(np.array([outline], dtype=object))
    inner = edges[~np.isin(middles_of(edges), middles_of(own))]
    within = shapely.get_parts(shapely.intersection(shapely.MultiLineString([*inner]), outline))
    return np.asarray(within[shapely.get_dimensions(within) == 1])


def _steps(regions: Sequence[Region], frame: Frame, outline: shapely.Geometry) -> Iterator[shapely.Geometry]:
    """Edges between unlike classes in each region."""
    shapely.prepare(outline)
    for region in regions:
        steps = _class_edges(region.classes, frame)
        shapely.prepare(region.shape)
        steps = steps[shapely.intersects(region.shape, steps)]
        yield from steps[shapely.intersects(outline, steps)]


def _faces(thin: ThinOutline, lines: list[shapely.Geometry]) -> Shapes:
    """Smallest faces between edges of the outline and lines, all noded together."""
    noded = shapely.union_all([*thin.near, *lines], grid_size=NODE_GRID_M)
    return np.asarray(shapely.get_parts(shapely.polygonize([noded, *thin.far])))


def _class_edges(classes: Ints, frame: Frame) -> Shapes:
    """Cell edges between unlike classes as lines of two points."""
    x_m = frame.x_min_m + np.arange(frame.n_cols + 1) * frame.cell_m
    y_m = frame.y_max_m - np.arange(frame.n_rows + 1) * frame.cell_m
    row, column = np.nonzero(classes[:, :-1] != classes[:, 1:])
    upright = [[x_m[column + 1], y_m[row]], [x_m[column + 1], y_m[row + 1]]]
    row, column = np.nonzero(classes[:-1] != classes[1:])
    level = [[x_m[column], y_m[row + 1]], [x_m[column + 1], y_m[row + 1]]]
    return np.asarray(shapely.linestrings(np.concatenate([upright, level], axis=2).transpose(2, 0, 1)))


def _classes_at(points: Shapes, regions: Sequence[Region], frame: Frame) -> Ints:
    xy_m = shapely.get_coordinates(points)
    cells = cells_at(xy_m, frame)
    found = regions[-1].classes[cells]
    for region in regions[:-1]:
        found = np.where(region.holds(xy_m), region.classes[cells], found)
    return np.asarray(found)


def _holes_at(points: Shapes, excluded: gpd.GeoDataFrame) -> Ints:
    hole = np.full(points.size, OUTSIDE, dtype=np.int64)
    for number, shape in enumerate(excluded.geometry):
        hole[shapely.contains(shape, points)] = number
    return hole


def _without_slivers(
    parts: Shapes, part_class: Ints, soil_of_class: Ints, least_m2: float
) -> tuple[Shapes, Ints, float]:
    """Parts and classes after parts too small took the class across their longest border, and how much they were.

    A border with a part on the same soil comes before one with another soil.
    """
    sliver_m2 = 0.0
    for _ in range(PASSES):
        moved = False
        tree = shapely.STRtree(parts)
        for part in np.flatnonzero(shapely.area(parts) < least_m2):
            near = tree.query(parts[part], predicate="intersects")
            near = np.sort(near[part_class[near] != part_class[part]])
            shared_m = shapely.length(shapely.intersection(parts[near], parts[part]))
            near, shared_m = near[shared_m > 0], shared_m[shared_m > 0]
            if near.size:
                same_soil = soil_of_class[part_class[near]] == soil_of_class[part_class[part]]
                part_class[part] = part_class[near[np.lexsort((-shared_m, ~same_soil))[0]]]
                sliver_m2 += float(shapely.area(parts[part]))
                moved = True
        if not moved:
            break
        numbers, shapes = _dissolved(parts, part_class)
        parts, of_shape = shapely.get_parts(shapes, return_index=True)
        part_class = numbers[of_shape]
    return parts, part_class, sliver_m2


def _cut_off(parts: Shapes, holes: Shapes, least_m2: float) -> tuple[Bools, Ints]:
    """Which parts are too small and have only excluded ground beside them, and which face of it."""
    adrift = np.zeros(parts.size, dtype=np.bool_)
    beside = []
    for part in np.flatnonzero(shapely.area(parts) < least_m2):
        shared_m = shapely.length(shapely.intersection(holes, parts[part]))
        if holes.size and shared_m.max() > 0:
            adrift[part] = True
            beside.append(int(np.argmax(shared_m)))
    return adrift, np.array(beside, dtype=np.int64)


def _dissolved(parts: Shapes, number: Ints) -> tuple[Ints, Shapes]:
    """Each number once, rising, with its parts as one shape that keeps the vertices of its neighbours."""
    numbers = np.unique(number)
    return numbers, np.array([shapely.coverage_union_all(parts[number == one]) for one in numbers], dtype=object)


def _driven(
    shapes: Shapes, thin: ThinOutline, soil_lines: shapely.Geometry, drive: Drive, *, cell_m: float, least_m2: float
) -> tuple[Shapes, float]:
    """Shapes with shared borders drawn by the largest tolerance that changes areas little, and the whole outline."""
    full = thin.restored(shapes)
    if drive.tolerance_m <= 0 or not shapely.coverage_is_valid(shapes):
        return full, 0.0
    _, headings_deg = runs_over([*full], width_m=drive.width_m, cell_m=cell_m, heading_deg=drive.heading_deg)
    for halving in range(HALVINGS + 1):
        used_m = drive.tolerance_m / 2.0**halving
        drawn = driven_borders(shapes, headings_deg, soil_lines, cell_m=cell_m, tolerance_m=used_m)
        change = np.abs(shapely.area(drawn) / shapely.area(shapes) - 1.0)
        if change.max() >= MOST_CHANGE or _small_parts(drawn, least_m2) > _small_parts(shapes, least_m2):
            continue
        drawn = thin.restored(drawn)
        if thin.left_out and not _tiles(drawn, full):  # a border came so near to the outline that it matters
            drawn = driven_borders(full, headings_deg, soil_lines, cell_m=cell_m, tolerance_m=used_m)
        if _tiles(drawn, full):
            return drawn, used_m
    return full, 0.0


def _tiles(drawn: Shapes, shapes: Shapes) -> bool:
    """Whether shapes are a coverage of the ground of others, each in as many parts."""
    parts = shapely.get_num_geometries(drawn) == shapely.get_num_geometries(shapes)
    ground = np.isclose(shapely.area(drawn).sum(), shapely.area(shapes).sum(), rtol=SAME_GROUND, atol=0.0)
    return bool(parts.all() and ground and shapely.is_valid(drawn).all() and shapely.coverage_is_valid(drawn))


def _small_parts(shapes: Shapes, least_m2: float) -> int:
    return int((shapely.area(shapely.get_parts(shapes)) < least_m2).sum())
