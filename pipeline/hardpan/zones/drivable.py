"""Classes that a machine can follow: no piece too small or too narrow for it, soil-type edges kept."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.said import Said, area, depth
from hardpan.core.units import M2_PER_HA
from hardpan.options import change_distance_m
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.issues import Issue
from hardpan.records.machines import Ripper
from hardpan.records.options import Options
from hardpan.spatial.regions import (
    OUTSIDE,
    first_cells,
    nearest_of,
    neighbours_of,
    pieces_of,
    smoothed,
    sums_by,
    wide_enough,
)
from hardpan.zones.settings import ZoneSettings

ROUNDS = 50
"""Joining one piece can leave another too small; it settles in a few rounds, and what has not by then is reported."""
MOVES = 4
"""A strip's cell may be handed on so often; one that is still narrow then lies between edges that pinch."""
TIE_DECIMALS = 3
"""Depths that differ by less than a micrometre are equal: the difference is rounding."""
Told: TypeAlias = list[tuple[Issue, Ints]]
"""Issues, each with the flat indices of the cells it is about; none where it is about many places."""

TELL_HA = 0.1
"""Joins of less ground than this are told as one sum: they smooth an edge and decide nothing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """What is known of each cell, arrays (n_rows, n_cols)."""

    soil: Ints
    """Soil code, -1 where there is no ground."""
    depth_mm: Floats
    """Expected bottom of the pan."""
    area_ha: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Least:
    """What a piece must have."""

    area_ha: float
    width_cells: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """Connected ground of one class; arrays (n_pieces,)."""

    number: Ints
    """(n_rows, n_cols): piece of each cell."""
    klass: Ints
    soil: Ints
    """Soil code of the class."""
    area_ha: Floats
    depth_mm: Floats
    slender: Bools
    """Nowhere as wide as it must be."""
    weak: Bools
    """Slender or too small."""


def make_drivable(classes: Ints, soil_of_class: Ints, cells: Cells, least: Least) -> tuple[Ints, Told]:
    """Classes without narrow strips and small pieces, and an issue, with its cells, for what was joined to what.

    A strip goes to the broad ground beside it, a small piece to the neighbour of nearest depth (ties to the shallower),
    each on its own soil type; only a piece that has no neighbour there joins one on another, and the issue says so.
    Ground that is narrow because its soil type is narrow there stays with its soil type.

    Parameters
    ----------
    classes : (n_rows, n_cols)
        Class of each cell, -1 where there is no ground.
    soil_of_class : (n_classes,)
        Soil code each class lies on.
    """
    broad_soil = wide_enough(cells.soil, least.width_cells)
    start = classes = smoothed(classes, cells.soil, least.width_cells)
    moves = np.zeros(classes.shape, dtype=np.int64)
    joins = []
    for _ in range(ROUNDS):
        before = classes
        classes = _join_strips(classes, soil_of_class, broad_soil & (moves < MOVES), least.width_cells)
        moves += classes != before
        pieces = _pieces(classes, soil_of_class, cells, least)
        movers, targets = _pairs(pieces)
        joins.append(_joins(pieces, movers, targets))
        new_class = pieces.klass.copy()
        new_class[movers] = pieces.klass[targets]
        classes = np.where(classes == OUTSIDE, OUTSIDE, new_class[pieces.number])
        if (classes == before).all():
            break
    strips = _pieces(np.where(moves > 0, start, OUTSIDE), soil_of_class, cells, least)
    narrow = np.flatnonzero(broad_soil & ~wide_enough(classes, least.width_cells))
    told = _joins_told(pd.concat(joins), strips)
    left_ha = float(cells.area_ha.ravel()[narrow].sum())
    if left_ha >= TELL_HA:
        what = Said("{area} in strips stay narrower than a machine can follow", area=area(left_ha))
        done = "left, as no broad ground of the same soil type lies beside them"
        told.append((_issue("strip-left", what, done), narrow))
    return classes, told


def least_piece(
    options: Options, ripper: Ripper, settings: ZoneSettings, asked: PrescriptionSettings, cell_m: float
) -> Least:
    """Least piece: two passes wide, and twice as long as the ground covered while the depth changes.

    The heading is not known here, so both ways must reach the larger of the two; the area is at least their square.
    """
    if settings.min_width_m == "implement":
        width_m = max(2.0 * ripper.width_m, 2.0 * change_m_of(options, ripper, asked))
    else:
        width_m = settings.min_width_m
    area_ha = max(settings.min_area_ha, width_m**2 / M2_PER_HA)
    return Least(area_ha=area_ha, width_cells=max(1, int(np.ceil(width_m / cell_m - 1e-9))))


def change_m_of(options: Options, ripper: Ripper, asked: PrescriptionSettings) -> float:
    """Distance driven while the tines move between the shallowest and the deepest depth to be ripped to."""
    share = asked.share_to_cover
    enough = share is None or options.covered >= share
    best = options.table.iloc[np.unique(np.where(enough, options.net, -np.inf).argmax(axis=1))]
    ripped = best[best["depth_mm"] > 0]
    if ripped.empty:
        return 0.0
    change_mm = float(ripped["depth_mm"].max() - ripped["depth_mm"].min())
    return float(_changing_m(change_mm, float(ripped["speed_kmh"].max()), ripper))


def lift_m_of(options: Options, ripper: Ripper) -> float:
    """Longest distance driven while the tines of any option rise out of the ground, whole metres."""
    table = options.table[options.table["depth_mm"] > 0]
    return float(np.ceil(_changing_m(table["depth_mm"], table["speed_kmh"], ripper).max(initial=0.0)))


def _changing_m(change_mm: pd.Series | float, speed_kmh: pd.Series | float, ripper: Ripper) -> Floats:
    rate_mm_s, latency_s = ripper.rate_of_depth_change.value, ripper.latency.value
    distance_m = change_distance_m(
        np.asarray(change_mm), np.asarray(speed_kmh), rate_mm_s=rate_mm_s, latency_s=latency_s
    )
    return np.nan_to_num(distance_m)


def _join_strips(classes: Ints, soil_of_class: Ints, watched: Bools, width_cells: int) -> Ints:
    """Classes once watched cells of narrow strips have that of the nearest broad ground of their soil."""
    broad = wide_enough(classes, width_cells)
    strip = watched & ~broad
    joined = classes.copy()
    for klass in np.unique(classes[strip]):
        others = broad & (classes != klass) & (soil_of_class[classes] == soil_of_class[klass])
        own = strip & (classes == klass)
        if others.any():
            nearest = nearest_of(others)[own]
            row, column = np.nonzero(own)
            away = np.hypot(row - nearest // classes.shape[1], column - nearest % classes.shape[1])
            joined[own] = np.where(away <= 2 * width_cells, classes.ravel()[nearest], klass)
    return joined


def _pieces(classes: Ints, soil_of_class: Ints, cells: Cells, least: Least) -> Pieces:
    number = pieces_of(classes)
    klass = classes.ravel()[first_cells(number)]
    area_ha = sums_by(number, cells.area_ha)
    slender = sums_by(number, wide_enough(classes, least.width_cells).astype(float)) == 0
    return Pieces(
        number=number,
        klass=klass,
        soil=soil_of_class[klass],
        area_ha=area_ha,
        depth_mm=sums_by(number, cells.depth_mm * cells.area_ha) / area_ha,
        slender=slender,
        weak=slender | (area_ha < least.area_ha),
    )


def _pairs(pieces: Pieces) -> tuple[Ints, Ints]:
    """Which weak pieces join which neighbours now; a piece that is joined does not move in the same round."""
    beside = neighbours_of(pieces.number)
    one, other = beside.first, beside.second
    away = pieces.soil[one] != pieces.soil[other]
    at_home = np.zeros(pieces.weak.size, dtype=np.bool_)
    at_home[one[~away]] = True
    able = pieces.weak[one] & ~(away & at_home[one])
    one, other = one[able], other[able]
    gap_mm = np.abs(pieces.depth_mm[one] - pieces.depth_mm[other]).round(TIE_DECIMALS)
    order = np.lexsort((other, pieces.depth_mm[other], gap_mm, pieces.weak[other], one))
    movers, best = np.unique(one[order], return_index=True)
    target_of = dict(zip(movers.tolist(), other[order][best].tolist(), strict=True))
    pairs: dict[int, int] = {}
    kept: set[int] = set()
    for mover in movers[np.lexsort((movers, pieces.area_ha[movers]))].tolist():
        if mover not in kept and target_of[mover] not in pairs:
            pairs[mover] = target_of[mover]
            kept.add(target_of[mover])
    return np.array(list(pairs), dtype=np.int64), np.array(list(pairs.values()), dtype=np.int64)


def _joins(pieces: Pieces, movers: Ints, targets: Ints) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "area_ha": pieces.area_ha[movers],
            "depth_mm": pieces.depth_mm[movers],
            "to_mm": pieces.depth_mm[targets],
            "slender": pieces.slender[movers],
            "across": pieces.soil[movers] != pieces.soil[targets],
            "cells": [np.flatnonzero(pieces.number == mover) for mover in movers],
        }
    )


def _joins_told(joins: pd.DataFrame, strips: Pieces) -> Told:
    large = (joins["area_ha"] >= TELL_HA) | joins["across"]
    by_area = joins[large].sort_values("area_ha", ascending=False)
    told = [(_join_issue(join), np.asarray(join["cells"])) for _, join in by_area.iterrows()]
    for piece in np.flatnonzero(strips.area_ha >= TELL_HA):
        what = Said(
            "a strip of {area} (pan expected to {bottom}) is too narrow to drive",
            area=area(float(strips.area_ha[piece])),
            bottom=depth(float(strips.depth_mm[piece])),
        )
        done = "it joined the ground on either side on the same soil type"
        told.append((_issue("strip-joined", what, done), np.flatnonzero(strips.number == piece)))
    small_ha = float(joins.loc[~large, "area_ha"].sum() + strips.area_ha[strips.area_ha < TELL_HA].sum())
    if small_ha > 0:
        text = "{area} in strips and spots along zone edges are too narrow or too small to drive"
        what = Said(text, area=area(small_ha))
        done = "joined the ground beside them on the same soil type"
        told.append((_issue("edges-smoothed", what, done), np.zeros(0, dtype=np.int64)))
    return told


def _join_issue(join: pd.Series) -> Issue:
    why = "too narrow" if join["slender"] else "too small"
    where = "on another soil type, as it has none on its own" if join["across"] else "on the same soil type"
    return _issue(
        "piece-joined",
        Said(
            "a piece of {area} (pan expected to {bottom}) is {why} to drive",
            area=area(join["area_ha"]),
            bottom=depth(join["depth_mm"]),
            why=why,
        ),
        Said(
            "it joined the neighbour of nearest depth {where} (pan expected to {bottom})",
            where=where,
            bottom=depth(join["to_mm"]),
        ),
    )


def _issue(code: str, what: str, done: str) -> Issue:
    return Issue(stage="zones", code=code, what=what, done=done)
