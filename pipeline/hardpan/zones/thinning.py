"""An outline of many places drawn with few of them, and all of them put back."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import shapely

from hardpan.core.arrays import Bools, Floats, Ints, Shapes
from hardpan.spatial.polygons import as_numbers

Place: TypeAlias = tuple[float, float]

FEW = 1000
"""A ring of no more places is drawn as it is: leaving some out would save nothing."""
RUN = 64
"""Edges in a run: where another line comes near to one of them, all of them stay."""
NODE_GRID_M = 1e-6
"""Borders are noded on this grid: edges that all but coincide then do, and no vertex moves by more than it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThinOutline:
    """An outline without places that its form hardly needs; near other lines it has them all."""

    shape: shapely.Geometry
    """Polygon or MultiPolygon, valid."""
    near: Shapes
    """Lines of its edges near other lines, which may cross them."""
    far: Shapes
    """Lines of its other edges, which nothing crosses."""
    left_out: Mapping[tuple[Place, Place], Floats]
    """Places (n, 2) along an edge that stands for several, by its ends, in either direction."""

    def restored(self, shapes: Shapes) -> Shapes:
        """Polygons (n,) with the places put back that were left out of their edges, the same on both sides."""
        if not (self.left_out and len(shapes)):
            return shapes
        parts, shape = shapely.get_parts(shapes, return_index=True)
        rings, part = shapely.get_rings(parts, return_index=True)
        full = [self._full(shapely.get_coordinates(ring)) for ring in rings]
        ring = np.repeat(np.arange(len(full)), [len(places) for places in full])
        return _polygons(np.concatenate(full), ring, part, shape)

    def _full(self, places: Floats) -> Floats:
        """Places (n, 2) of a ring, more of them."""
        pieces = []
        for start, edge in enumerate(pairwise(map(tuple, places.tolist()))):
            pieces.append(places[start : start + 1])
            if edge in self.left_out:
                pieces.append(self.left_out[edge])
        return np.concatenate([*pieces, places[-1:]])


def thin_outline(outline: shapely.Geometry, lines: Sequence[shapely.Geometry], tolerance_m: float) -> ThinOutline:
    """Outline that leaves out places where no line is within the tolerance, and moves by less than that.

    So no line that it is far from comes to lie on its other side. Where it would cross itself it stays as it is.
    """
    parts, shape = shapely.get_parts([outline], return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    places, ring = shapely.get_coordinates(rings, return_index=True)
    as_it_is = ThinOutline(shape=outline, near=shapely.boundary([outline]), far=rings[:0], left_out={})
    if np.bincount(ring).max() <= FEW:
        return as_it_is
    spans = np.array(_spans(ring), dtype=object)
    runs = _lines(places, spans)
    is_near = shapely.is_closed(runs)
    is_near[shapely.STRtree(runs).query(lines, predicate="dwithin", distance=tolerance_m)[1]] = True
    # What lies near is rounded where it is noded, along with the lines that it may run along.
    rounded = shapely.get_coordinates(shapely.set_precision(outline, NODE_GRID_M, mode="pointwise"))
    for span in spans[~is_near]:
        places[span] = rounded[span]
    fixed = [_edges(places[span]) for span in spans[is_near]]
    far = shapely.multilinestrings(np.concatenate([_lines(places, spans[~is_near]), *fixed]))
    kept = np.isin(as_numbers(places), as_numbers(shapely.get_coordinates(shapely.simplify(far, tolerance_m))))
    thin, whole = _polygons(places[kept], ring[kept], part, shape), _polygons(places, ring, part, shape)
    if not shapely.is_valid([*thin, *whole]).all():
        return as_it_is
    far = np.array([shapely.linestrings(places[span][kept[span]]) for span in spans[~is_near]], dtype=object)
    return ThinOutline(shape=thin[0], near=runs[is_near], far=far, left_out=_left_out(places, kept))


def _left_out(places: Floats, kept: Bools) -> dict[tuple[Place, Place], Floats]:
    """Places between those that are kept, by the two beside them."""
    every, left_out = [*map(tuple, places.tolist())], {}
    for start, end in pairwise(np.flatnonzero(kept).tolist()):
        if end > start + 1:
            left_out[every[start], every[end]] = places[start + 1 : end]
            left_out[every[end], every[start]] = places[start + 1 : end][::-1]
    return left_out


def _lines(places: Floats, spans: Iterable[slice]) -> Shapes:
    return np.array([shapely.linestrings(places[span]) for span in spans], dtype=object)


def _spans(ring: Ints) -> list[slice]:
    """Slices of the places of rings into runs that share their ends; a ring of few places is one run."""
    first = np.flatnonzero(np.diff(ring, prepend=-1))
    spans = []
    for start, stop in pairwise([*first.tolist(), len(ring)]):
        step = RUN if stop - start > FEW else stop - start
        spans += [slice(at, min(at + step + 1, stop)) for at in range(start, stop - 1, step)]
    return spans


def _edges(places: Floats) -> Shapes:
    return np.asarray(shapely.linestrings(np.stack([places[:-1], places[1:]], axis=1)))


def _polygons(places: Floats, ring: Ints, part: Ints, shape: Ints) -> Shapes:
    """Polygon or MultiPolygon of each shape: ring of each place, part of each ring, shape of each part."""
    parts = shapely.polygons(shapely.linearrings(places, indices=ring), indices=part)
    shapes = np.asarray(shapely.multipolygons(parts, indices=shape))
    single = np.flatnonzero(np.bincount(shape) == 1)
    shapes[single] = parts[np.searchsorted(shape, single)]
    return shapes
