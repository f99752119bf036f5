"""Borders of zones: soil lines as the map draws them, others straight, along or across the way of travel."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Bools, Floats, Ints, Shapes
from hardpan.records.frame import Frame
from hardpan.spatial.cells import centres_inside
from hardpan.spatial.regions import OUTSIDE, spread

HALVINGS = 3
"""A border that would cross another moves half as far, and so on; then it keeps its steps."""
ON_LINE_M = 1e-4
"""A border so near to a line runs on it: vertices were snapped to a much finer grid."""
TURNED = 0.5
"""Share of the tolerance by which an end of an edge may move once more when the edge is turned."""
LEAST_RING = 4
"""Places of a ring that holds ground, the first of them twice."""
STEEPEST = np.sin(np.deg2rad(15.0))
"""Lines that meet at a smaller angle do so too far away."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """Ground with borders of its own, and the class of each cell as seen from it."""

    shape: shapely.Geometry
    classes: Ints
    """(n_rows, n_cols): those of its own cells, carried on beyond its borders."""

    def holds(self, xy_m: Floats) -> Bools:
        """Which places (n, 2) lie in it, (n,)."""
        shapely.prepare(self.shape)
        return np.asarray(shapely.contains_xy(self.shape, xy_m[:, 0], xy_m[:, 1]))


def soil_regions(
    soils: gpd.GeoDataFrame, soil_types: tuple[str, ...], soil: Ints, classes: Ints, frame: Frame
) -> list[Region]:
    """Region of each soil type that has a cell; of soil polygons that overlap the first by name counts, as for cells.

    Parts of the soil map too small to hold the middle of a cell are left out, and so is ground without a polygon.

    Parameters
    ----------
    soil, classes : (n_rows, n_cols)
        Soil code and class of each cell with ground, -1 elsewhere.
    """
    regions, taken = [], shapely.Polygon()
    for name, shapes in soils.groupby("soil_type", sort=True).geometry:
        whole = shapely.difference(shapely.union_all(shapes.to_numpy()), taken)
        taken = shapely.union(taken, whole)
        code = soil_types.index(str(name))
        own = soil == code
        kept = [part for part in _areas(whole) if (own & centres_inside(part, frame)).any()]
        if kept:
            regions.append(Region(shape=shapely.union_all(kept), classes=spread(np.where(own, classes, OUTSIDE))))
    return regions


def _areas(shape: shapely.Geometry) -> Iterator[shapely.Geometry]:
    yield from (part for part in shapely.get_parts(shape) if shapely.get_dimensions(part) == 2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Border:
    """Part of a border between two nodes of the coverage."""

    places: Floats
    """(n, 2), m; the first is the last where it closes."""
    ways_deg: Floats
    """Ways of travel of the ground on either side."""
    room: shapely.Geometry
    """That ground."""
    exact: bool
    """It stays as it is."""


def driven_borders(
    shapes: Shapes, headings_deg: Sequence[float], kept: shapely.Geometry, *, cell_m: float, tolerance_m: float
) -> Shapes:
    """The shapes of a coverage, (n,), with the borders they share drawn as they are driven.

    A border between cells is known to half a cell: it runs through the middles of the cells' edges, straight as far as
    `tolerance_m` allows, and its edges are turned along or across the heading of a shape beside them where that moves
    their ends by no more than half of that again. Its own ends, the outer boundary and borders on `kept` stay.

    Parameters
    ----------
    headings_deg : (n,)
        Way of travel in each shape, clockwise from grid north.
    kept : Geometry
        Lines on which borders are exact.
    """
    outer = shapely.boundary(shapely.coverage_union_all(shapes))
    borders = list(_borders(shapes, np.asarray(headings_deg), shapely.union_all([outer, kept])))
    drawn = _uncrossed(borders, cell_m, tolerance_m)
    faces = np.asarray(shapely.get_parts(shapely.polygonize([shapely.union_all(drawn)])))
    owner = _owners(faces, shapes)
    return np.array([shapely.coverage_union_all(faces[owner == one]) for one in range(len(shapes))], dtype=object)


def _borders(shapes: Shapes, headings_deg: Floats, kept: shapely.Geometry) -> Iterator[Border]:
    """Borders of a coverage from node to node, cut where they leave `kept`."""
    shapely.prepare(kept)
    tree = shapely.STRtree(shapes)
    for line in shapely.get_parts(shapely.line_merge(shapely.union_all(shapely.boundary(shapes)))):
        places = shapely.get_coordinates(line)
        middles = shapely.points((places[1:] + places[:-1]) / 2.0)
        on_kept: Bools = np.asarray(shapely.dwithin(kept, middles, ON_LINE_M))
        beside = np.sort(tree.query(middles[0], predicate="dwithin", distance=ON_LINE_M))
        room = shapely.coverage_union_all(shapes[beside])
        turns = np.flatnonzero(on_kept[1:] != on_kept[:-1]) + 1
        for start, end in pairwise([0, *turns.tolist(), len(places) - 1]):
            yield Border(
                places=places[start : end + 1], ways_deg=headings_deg[beside], room=room, exact=bool(on_kept[start])
            )


def _uncrossed(borders: Sequence[Border], cell_m: float, tolerance_m: float) -> Shapes:
    """Lines of borders as driven; one that would meet another or leave its ground moves less, at last not at all."""
    exact, room = np.array([border.exact for border in borders]), np.array([border.room for border in borders])
    ends = shapely.multipoints([border.places[[0, -1]] for border in borders])
    lines = np.array([shapely.linestrings(border.places) for border in borders], dtype=object)
    changed = np.flatnonzero(~exact)
    for halving in range(HALVINGS + 2):
        moved_m = tolerance_m / 2.0**halving if halving <= HALVINGS else 0.0
        for place in changed.tolist():
            lines[place] = shapely.linestrings(_driven(borders[place], cell_m=cell_m, tolerance_m=moved_m))
        shrunk = shapely.is_closed(lines) & (shapely.get_num_coordinates(lines) < LEAST_RING)
        wrong = shrunk | ~shapely.is_simple(lines) | ~shapely.covered_by(lines, room)
        wrong[_meeting(lines, ends)] = True
        changed = np.flatnonzero(wrong & ~exact)
        if not changed.size:
            break
    return lines


def _meeting(lines: Shapes, ends: Shapes) -> Ints:
    """Places of lines that meet another elsewhere than at the ends of both."""
    one, other = shapely.STRtree(lines).query(lines, predicate="intersects")
    one, other = one[one < other], other[one < other]
    common = shapely.intersection(lines[one], lines[other])
    bad = ~shapely.covered_by(common, ends[one]) | ~shapely.covered_by(common, ends[other])
    return np.concatenate([one[bad], other[bad]])


def _driven(border: Border, *, cell_m: float, tolerance_m: float) -> Floats:
    """Places (n, 2) of a border as it is driven."""
    if tolerance_m == 0:
        return border.places
    fine = shapely.get_coordinates(shapely.segmentize(shapely.linestrings(border.places), cell_m))
    middle, ends = (fine[1:] + fine[:-1]) / 2.0, border.places[[0, -1]]
    closed = bool((ends[0] == ends[1]).all())
    through = np.concatenate([middle, middle[:1]] if closed else [ends[:1], middle, ends[1:]])
    path = shapely.simplify(shapely.linestrings(through), tolerance_m, preserve_topology=False)
    return _turned(shapely.get_coordinates(path), border.ways_deg, TURNED * tolerance_m)


def _turned(places: Floats, ways_deg: Floats, tolerance_m: float) -> Floats:
    """A path (n, 2) with those of its edges along or across a way whose ends move no farther than the tolerance."""
    if len(places) == 2:
        return places
    edge = np.diff(places, axis=0)
    length_m = np.hypot(*edge.T)
    angle = np.deg2rad(np.concatenate([ways_deg, ways_deg + 90.0]))
    way = np.stack([np.sin(angle), np.cos(angle)])
    across_m = np.abs(edge[:, :1] * way[1] - edge[:, 1:] * way[0])  # (n_edges, n_ways): how far the ends lie apart
    most_m = np.full(len(edge), 2.0 * tolerance_m)  # turned about its middle
    most_m[[0, -1]] = tolerance_m  # about the border's end
    turned = across_m.min(axis=1) <= most_m
    direction = np.where(turned[:, None], way.T[across_m.argmin(axis=1)], edge / length_m[:, None])
    through = (places[1:] + places[:-1]) / 2.0
    through[0], through[-1] = places[0], places[-1]
    path = places.copy()
    for place in range(1, len(places) - 1):
        (x, y), (u, v) = direction[place - 1], direction[place]
        cross = x * v - y * u
        if abs(cross) < STEEPEST:
            continue
        gap = through[place] - through[place - 1]
        met = through[place - 1] + np.array([x, y]) * (gap[0] * v - gap[1] * u) / cross
        if np.hypot(*(met - places[place])) <= tolerance_m:
            path[place] = met
    return path


def _owners(faces: Shapes, shapes: Shapes) -> Ints:
    """Shape that each face lies in for the most part, (n_faces,); -1 for holes of the ground."""
    face, shape = shapely.STRtree(shapes).query(faces, predicate="intersects")
    common_m2 = np.zeros((len(faces), len(shapes)))
    common_m2[face, shape] = shapely.area(shapely.intersection(faces[face], shapes[shape]))
    return np.where(2.0 * common_m2.sum(axis=1) > shapely.area(faces), common_m2.argmax(axis=1), -1)
