"""Where insertions stand: beside which tine line, and in which zone."""

import re
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Floats, Ints
from hardpan.records.after import Position

_NAMES = {
    Position.LINE: ("line", "on line", "tine", "rip line", "l"),
    Position.QUARTER: ("quarter", "1/4", "q"),
    Position.MIDWAY: ("midway", "mid", "between", "middle", "m"),
    Position.CONTROL: ("control", "unripped", "check", "strip", "c"),
}
_BY_NAME = {name: position for position, names in _NAMES.items() for name in names}


def position_of(mark: str, insertion: str) -> Position | None:
    """Position that a mark says, or the last word of the insertion's or site's name; None where neither says one.

    >>> position_of("Midway", "7-1"), position_of("", "Z3_line"), position_of("", "12")
    (<Position.MIDWAY: 'midway'>, <Position.LINE: 'line'>, None)
    """
    if mark.strip():
        return _BY_NAME.get(" ".join(mark.split()).casefold())
    words = [word for word in re.split(r"[^a-z]+", insertion.casefold()) if len(word) > 1]
    return next((_BY_NAME[word] for word in reversed(words) if word in _BY_NAME), None)


def positions_of(about: pd.DataFrame, marks: Sequence[str]) -> list[Position | None]:
    """Position of each insertion."""
    names = [f"{site} {insertion}" for site, insertion in about[["site", "insertion"]].itertuples(index=False)]
    return [position_of(mark, name) for mark, name in zip(marks, names, strict=True)]


def zones_at(about: pd.DataFrame, zones: gpd.GeoDataFrame) -> Ints:
    """Zone each insertion lies in, a check strip counted as the zone it lies in; -1 outside the paddock."""
    points = shapely.points(about["x_m"].to_numpy(float), about["y_m"].to_numpy(float))
    at, owner = shapely.STRtree(zones.geometry.to_numpy()).query(points, predicate="intersects")
    found = np.full(len(points), -1, dtype=np.int64)
    beside = zones["beside"].fillna(0).to_numpy(int)
    numbers = np.where(beside > 0, beside, zones["zone"].to_numpy(int))
    found[at[::-1]] = numbers[owner[::-1]]  # of two zones that share a border the first
    return found


def block_points(shape: shapely.Geometry, n: int) -> Floats:
    """About `n` points spread evenly over a shape, (n_points, 2)."""
    west, south, east, north = shape.bounds
    step = np.sqrt(max(shape.area, 1e-9) / n)
    x, y = np.meshgrid(np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step))
    inside = shapely.contains_xy(shape, x.ravel(), y.ravel())
    return np.asarray(np.column_stack([x.ravel(), y.ravel()])[inside])
