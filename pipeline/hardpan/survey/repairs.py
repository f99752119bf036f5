"""Geometries as read to valid polygons, in a time that does not depend on how tangled they are."""

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import InputError
from hardpan.records.issues import Issues
from hardpan.survey.notes import counted, listed, warned

MOST_CROSSINGS = 200
"""A ring drawn or walked by a person crosses itself a few times; of one that does so hundreds of times nobody can say
what lies inside, and its repair takes time with the square of them."""
MOST_CONTACTS = 5000
"""Pieces of a ring that lie on one another or touch; ten thousand take several seconds."""
MOST_PAIRS = 20_000_000
"""Pairs of segments whose boxes meet; more are not looked at."""
MOST_FEATURES, MOST_VERTICES = 20_000, 1_000_000
"""Polygons of one paddock; more is a map of a district."""
PAIRS_AT_A_TIME = 4_000_000
MOST_OVERLAPS = 50_000
"""Overlaps between polygons of one file; a map of soil types or exclusions has few."""


def repair(geometry: np.ndarray, file: str) -> tuple[np.ndarray, Issues]:
    """Valid polygons, null where nothing polygonal is left, and what was repaired.

    Lobes of a self-crossing ring are all kept, and of overlapping parts the whole; lines and points that a repair
    leaves over are dropped.

    Raises
    ------
    InputError
        There are far more features or vertices than a paddock has, or a polygon is too tangled to be repaired.
    """
    _check_size(geometry, file)
    flat = shapely.force_2d(geometry)
    bad = np.flatnonzero(~shapely.is_valid(flat) & ~shapely.is_missing(flat))
    mended, crossings = flat.copy(), 0
    for at in bad:
        mended[at], more = _valid(flat[at], f"{file} feature {at + 1}")
        crossings += more
    polygons = np.asarray([polygonal(one) for one in mended], dtype=object)
    if not len(bad):
        return polygons, ()
    why = shapely.is_valid_reason(flat[bad[0]])
    what = f"{counted(len(bad), 'polygon')} {'crosses itself or is' if len(bad) == 1 else 'cross themselves or are'}"
    issue = warned(
        "geometry-repaired",
        f"{what} otherwise invalid ({why.split('[')[0]}, {counted(crossings, 'crossing')})",
        "repaired, all lobes kept",
        file=file,
        place=f"feature {listed((bad + 1).tolist())}",
    )
    return polygons, (issue,)


def settled(geometry: np.ndarray) -> np.ndarray:
    """The polygons valid again after a move to another CRS, which can let vertices that nearly touch cross."""
    bad = ~shapely.is_valid(geometry) & (shapely.get_dimensions(geometry) == 2)
    if not bad.any():
        return geometry
    mended = geometry.copy()
    mended[bad] = [polygonal(_union(one)) for one in geometry[bad]]
    return mended


def _check_size(geometry: np.ndarray, file: str) -> None:
    vertices = int(shapely.get_num_coordinates(geometry).sum())
    if len(geometry) > MOST_FEATURES or vertices > MOST_VERTICES:
        raise InputError(
            what=f"holds {len(geometry)} features with {vertices} vertices",
            where=file,
            right=f"at most {MOST_FEATURES} features and {MOST_VERTICES} vertices",
            do="cut it to the paddock, or simplify it",
        )


def _valid(geometry: shapely.Geometry, where: str) -> tuple[shapely.Geometry, int]:
    crossings = sum(_count_if_few(part, where) for part in flattened(geometry) if not part.is_valid)
    return _union(geometry), crossings


def _union(geometry: shapely.Geometry) -> shapely.Geometry:
    parts = np.asarray(flattened(geometry), dtype=object)
    return shapely.union_all(np.where(shapely.is_valid(parts), parts, shapely.make_valid(parts, method="linework")))


def _count_if_few(part: shapely.Geometry, where: str) -> int:
    crossings, contacts = count_crossings(part)
    if crossings <= MOST_CROSSINGS and contacts <= MOST_CONTACTS:
        return crossings
    does = f"crosses itself more than {MOST_CROSSINGS} times"
    raise InputError(
        what=does if crossings > MOST_CROSSINGS else f"touches itself more than {MOST_CONTACTS} times",
        where=where,
        right="a ring that goes around the ground once",
        do="draw it again, or sort its vertices into walking order",
    )


def count_crossings(geometry: shapely.Geometry) -> tuple[int, int]:
    """Points at which segments of a geometry cross, and how often they cross or touch; counting stops at the limits.

    Two segments cross where the ends of each lie on different sides of the other; they touch where an end lies on the
    other one, unless both begin or end there.
    """
    start, end = _segments(geometry)
    tree = shapely.STRtree(shapely.linestrings(np.stack([start, end], axis=1)))
    crossings, contacts, pairs = 0, 0, 0
    first, chunk = 0, 8
    while first < len(start):
        boxes = tree.geometries[first : first + chunk]
        one, other = tree.query(boxes)
        one, other = one[other > one + first] + first, other[other > one + first]
        side, back = _sides(start, end, one, other), _sides(start, end, other, one)
        crossing = (side < 0) & (back < 0)
        touching = (side <= 0) & (back <= 0) & ~crossing & ~_share_an_end(start, end, one, other)
        crossings += int(crossing.sum())
        contacts += int((crossing | touching).sum())
        pairs += len(one)
        if crossings > MOST_CROSSINGS or contacts > MOST_CONTACTS:
            break
        if pairs > MOST_PAIRS:
            return crossings, MOST_CONTACTS + 1
        first, chunk = first + chunk, min(2 * chunk, max(8, PAIRS_AT_A_TIME // len(start)))
    return crossings, contacts


def _segments(geometry: shapely.Geometry) -> tuple[Floats, Floats]:
    rings = shapely.get_rings(geometry) if shapely.get_dimensions(geometry) == 2 else shapely.get_parts(geometry)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    along = (ring[1:] == ring[:-1]) & (xy[1:] != xy[:-1]).any(axis=1)
    return xy[:-1][along], xy[1:][along]


def _sides(start: Floats, end: Floats, of: Ints, seen_from: Ints) -> Floats:
    """Negative where the ends of segments `of` lie on different sides of `seen_from`, 0 where one lies on its line."""
    along = end[seen_from] - start[seen_from]
    a, b = start[of] - start[seen_from], end[of] - start[seen_from]
    left, right = along[:, 0] * a[:, 1] - along[:, 1] * a[:, 0], along[:, 0] * b[:, 1] - along[:, 1] * b[:, 0]
    return np.asarray(np.sign(left) * np.sign(right))


def _share_an_end(start: Floats, end: Floats, one: Ints, other: Ints) -> Bools:
    pairs = ((start, start), (start, end), (end, start), (end, end))
    shared: Bools = np.any([(a[one] == b[other]).all(axis=1) for a, b in pairs], axis=0)
    return shared


def clipped(geometry: np.ndarray, boundary: shapely.Geometry) -> np.ndarray:
    """What lies within the boundary of each geometry, shape of `geometry`; only those across its border are cut."""
    shapely.prepare(boundary)
    across = ~shapely.contains_properly(boundary, geometry)
    inside = geometry.copy()
    inside[across] = shapely.intersection(geometry[across], boundary)
    return inside


def apart(geometry: np.ndarray, file: str) -> np.ndarray:
    """Each polygon without the ground of those before it, shape of `geometry`, None where nothing is left.

    Raises
    ------
    InputError
        The polygons overlap one another many thousand times.
    """
    one, other = shapely.STRtree(geometry).query(geometry, predicate="intersects")
    one, other = one[other < one], other[other < one]
    overlap = ~shapely.touches(geometry[one], geometry[other])
    one, other = one[overlap], other[overlap]
    if len(one) > MOST_OVERLAPS:
        raise InputError(what=f"polygons overlap one another {len(one)} times", where=file, do="merge them")
    left = [polygonal(one) for one in geometry]
    for at in np.unique(one):
        left[at] = polygonal(shapely.difference(geometry[at], shapely.union_all(geometry[other[one == at]])))
    return np.asarray([*left, None], dtype=object)[:-1]


def drop_empty(table: gpd.GeoDataFrame, file: str) -> tuple[gpd.GeoDataFrame, Issues]:
    """The features that have a geometry left, and which have none."""
    geometry = table.geometry.to_numpy()
    empty = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    if not empty.any():
        return table, ()
    place = f"feature {listed([int(at) + 1 for at in np.flatnonzero(empty)], 20)}"
    count = int(empty.sum())
    what = f"{counted(count, 'feature')} {'covers' if count == 1 else 'cover'} no ground"
    return table[~empty], (warned("no-geometry", what, "left out", file=file, place=place),)


def polygonal(geometry: shapely.Geometry | None) -> shapely.Geometry | None:
    """The polygons among the parts of a geometry, None where there is none."""
    if geometry is None or geometry.is_empty:
        return None
    parts = [part for part in flattened(geometry) if isinstance(part, shapely.Polygon) and part.area > 0]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def flattened(geometry: shapely.Geometry) -> list[shapely.Geometry]:
    """The single parts of a geometry, collections within collections taken apart."""
    if isinstance(geometry, shapely.GeometryCollection):
        return [part for one in geometry.geoms for part in flattened(one)]
    return list(shapely.get_parts(geometry))
