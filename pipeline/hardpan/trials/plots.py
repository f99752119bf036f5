"""Points on their strips, and strips cut into segments that the mixed model is fitted to."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.optimize import linear_sum_assignment

from hardpan.core.arrays import Floats, Ints
from hardpan.records.trial import Treatment

MOST_SEGMENTS = 96
"""Of a trial: with twice as many no standard error moved by more than a tenth of itself on open uniformity fields."""


def on_strips(points: pd.DataFrame, strips: gpd.GeoDataFrame, end_m: float) -> tuple[Ints, Ints]:
    """Strip of each point, (n,), 0 where it lies on none; and the same without the last `end_m` of each strip."""
    places = shapely.points(points[["x_m", "y_m"]].to_numpy(dtype=float))
    shapes, names = strips.geometry.to_numpy(), strips["strip"].to_numpy()
    at, of = shapely.STRtree(places).query(shapes, predicate="intersects")[::-1]
    strip = np.zeros(len(points), dtype=np.int64)
    strip[at[::-1]] = names[of[::-1]]  # the first strip where two touch
    inner = strip.copy()
    for shape, name in zip(shapes, names, strict=True):
        here = np.flatnonzero(strip == name)
        if end_m > 0 and len(here):
            way = along(points[["x_m", "y_m"]].to_numpy(dtype=float)[here], shape)
            low, high = _ends(shape)
            inner[here[(way < low + end_m) | (way > high - end_m)]] = 0
    return strip, inner


def _ends(shape: shapely.Geometry) -> tuple[float, float]:
    way = along(shapely.get_coordinates(shape), shape)
    return float(way.min()), float(way.max())


def along(xy_m: Floats, shape: shapely.Geometry) -> Floats:
    """Distance of places along the longer side of the narrowest rectangle around a polygon, (n,)."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
    sides = np.diff(corners[:3], axis=0)
    longest = sides[np.argmax(np.linalg.norm(sides, axis=1))]
    return np.asarray(xy_m @ (longest / np.linalg.norm(longest)))


def strip_means(points: pd.DataFrame, strips: gpd.GeoDataFrame) -> pd.DataFrame:
    """One row a harvested strip: `strip`, `treatment`, `pair`, `zone`, `depth_mm`, `points`, `mean`."""
    by = points.groupby("strip")["value"]
    table = strips.drop(columns="geometry").set_index("strip").loc[by.size().index]
    return pd.DataFrame(table.assign(points=by.size(), mean=by.mean())).reset_index()[
        ["strip", "treatment", "pair", "zone", "depth_mm", "points", "mean"]
    ]


def pair_up(strips: gpd.GeoDataFrame) -> Ints:
    """Pair of each strip, (n,): as stated, else the nearest two of both treatments in a zone; 0 for those left over."""
    stated = strips["pair"].to_numpy()
    if (stated > 0).any():
        return np.asarray(stated, dtype=np.int64)
    pair, last = np.zeros(len(strips), dtype=np.int64), 0
    middles = shapely.get_coordinates(shapely.centroid(strips.geometry.to_numpy()))
    for zone in np.unique(strips["zone"]):
        sides = [
            np.flatnonzero((strips["zone"] == zone) & (strips["treatment"] == treatment)) for treatment in Treatment
        ]
        apart = np.linalg.norm(middles[sides[0]][:, None] - middles[sides[1]][None], axis=2)
        for one, other in zip(*linear_sum_assignment(apart), strict=True):
            last += 1
            pair[[sides[0][one], sides[1][other]]] = last
    return pair


def segments(points: pd.DataFrame, strips: gpd.GeoDataFrame) -> pd.DataFrame:
    """Means of stretches of strips that hold about equally many points: `strip`, `x_m`, `y_m`, `value`, `points`."""
    shapes = strips.set_index("strip").geometry
    each = max(1, int(np.ceil(len(points) / MOST_SEGMENTS)))
    strip, values = points["strip"].to_numpy(), points[["x_m", "y_m", "value"]].to_numpy(dtype=float)
    parts = []
    for name in np.unique(strip):
        of_strip = values[strip == name]
        way = along(of_strip[:, :2], shapes[name])
        ordered = of_strip[np.lexsort((of_strip[:, 1], of_strip[:, 0], np.round(way, 6)))]
        count = max(1, round(len(ordered) / each))
        starts = np.round(np.linspace(0, len(ordered), count, endpoint=False)).astype(int)
        size = np.diff(np.append(starts, len(ordered)))
        parts.append(np.column_stack([np.full(count, name), np.add.reduceat(ordered, starts) / size[:, None], size]))
    table = pd.DataFrame(np.vstack(parts), columns=["strip", "x_m", "y_m", "value", "points"])
    return table.astype({"strip": int, "points": int})
