"""Classes that a machine can follow: no piece too small or too narrow, soil-type edges kept."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.spatial.regions import OUTSIDE, first_cells, neighbours_of, pieces_of, sums_by, wide_enough

ROUNDS = 50
"""Joining one piece can leave another too small; it settles in a few rounds, and what has not by then is reported."""
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
    """Connected ground of one class, broad and narrow ground apart; arrays (n_pieces,)."""

    number: Ints
    """(n_rows, n_cols): piece of each cell."""
    klass: Ints
    soil: Ints
    """Soil code of the class."""
    area_ha: Floats
    depth_mm: Floats
    narrow: Bools
    """A strip of its class that the machine cannot follow."""
    weak: Bools
    """Narrow, or too small, or without a broad spot."""


def make_drivable(classes: Ints, soil_of_class: Ints, cells: Cells, least: Least) -> tuple[Ints, Issues]:
    """Give the classes with each small or narrow piece joined to the neighbour of nearest depth, and the joins.

    A piece joins a neighbour on its own soil type; only where it has none, one on another (and the issue says so). Ties
    go to the shallower. Ground that is narrow because its soil type is narrow there stays with its soil type.

    Parameters
    ----------
    classes : (n_rows, n_cols)
        Class of each cell, -1 where there is no ground.
    soil_of_class : (n_classes,)
        Soil code each class lies on.
    """
    broad_soil = wide_enough(cells.soil, least.width_cells)
    moved = np.zeros(classes.shape, dtype=np.bool_)
    joins = []
    for _ in range(ROUNDS):
        pieces = _pieces(classes, soil_of_class, cells, broad_soil & ~moved, least)
        movers, targets = _pairs(pieces)
        if not movers.size:
            break
        joins.append(_joins(pieces, movers, targets))
        new_class = pieces.klass.copy()
        new_class[movers] = pieces.klass[targets]
        moved |= np.isin(pieces.number, movers)
        classes = np.where(classes == OUTSIDE, OUTSIDE, new_class[pieces.number])
    left = _pieces(classes, soil_of_class, cells, broad_soil, least)
    return classes, (*_told(joins), *_left(left, least))


def _pieces(classes: Ints, soil_of_class: Ints, cells: Cells, watched: Bools, least: Least) -> Pieces:
    broad = wide_enough(classes, least.width_cells)
    strip = ~broad & watched
    number = pieces_of(np.where(classes == OUTSIDE, OUTSIDE, 2 * classes + strip))
    first = first_cells(number)
    klass, narrow = classes.ravel()[first], strip.ravel()[first]
    area_ha = sums_by(number, cells.area_ha)
    slender = sums_by(number, broad.astype(float)) == 0
    return Pieces(
        number=number,
        klass=klass,
        soil=soil_of_class[klass],
        area_ha=area_ha,
        depth_mm=sums_by(number, cells.depth_mm * cells.area_ha) / area_ha,
        narrow=narrow,
        weak=narrow | slender | (area_ha < least.area_ha),
    )


def _pairs(pieces: Pieces) -> tuple[Ints, Ints]:
    """Give which weak pieces join which neighbours now; a piece that is joined does not move in the same round."""
    beside = neighbours_of(pieces.number)
    one, other = beside.first, beside.second
    same_class = pieces.klass[one] == pieces.klass[other]
    away = pieces.soil[one] != pieces.soil[other]
    at_home = np.zeros(pieces.weak.size, dtype=np.bool_)
    at_home[one[~away]] = True
    able = pieces.weak[one] & ~same_class & ~(away & at_home[one])
    one, other = one[able], other[able]
    gap_mm = np.abs(pieces.depth_mm[one] - pieces.depth_mm[other])
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
            "narrow": pieces.narrow[movers],
            "across": pieces.soil[movers] != pieces.soil[targets],
        }
    )


def _told(rounds: list[pd.DataFrame]) -> Issues:
    if not rounds:
        return ()
    joins = pd.concat(rounds, ignore_index=True)
    large = joins[(joins["area_ha"] >= TELL_HA) | joins["across"]].sort_values(
        "area_ha", ascending=False, kind="stable"
    )
    edges = joins.drop(large.index)
    issues = [_join_issue(join) for _, join in large.iterrows()]
    if len(edges):
        issues.append(
            _issue(
                "edges-smoothed",
                f"{len(edges)} strips and spots of less than {TELL_HA} ha, {edges['area_ha'].sum():.2f} ha in all, "
                "are too narrow or too small to drive",
                "each joined the neighbour of nearest depth",
            )
        )
    return tuple(issues)


def _join_issue(join: pd.Series) -> Issue:
    why = "too narrow" if join["narrow"] else "too small"
    where = "on another soil type, as it has none on its own" if join["across"] else "on the same soil type"
    return _issue(
        "piece-joined",
        f"a piece of {join['area_ha']:.2f} ha (pan expected to {join['depth_mm']:.0f} mm) is {why} to drive",
        f"it joined the neighbour of nearest depth {where} (pan expected to {join['to_mm']:.0f} mm)",
    )


def _left(pieces: Pieces, least: Least) -> Issues:
    small = pieces.weak & ~pieces.narrow
    strips_ha = pieces.area_ha[pieces.narrow].sum()
    issues = []
    if small.any():
        issues.append(
            _issue(
                "piece-too-small",
                f"{small.sum()} pieces below {least.area_ha:.2f} ha, {pieces.area_ha[small].sum():.2f} ha in all, "
                "have no neighbour to join",
                "they stay zones of their own class",
            )
        )
    if strips_ha >= TELL_HA:
        issues.append(
            _issue(
                "strip-left",
                f"{strips_ha:.2f} ha in strips between soil types stay narrower than {least.width_cells} cells",
                "left, because joining them would cross a soil-type edge or only move the strip",
            )
        )
    return tuple(issues)


def _issue(code: str, what: str, done: str) -> Issue:
    return Issue(outcome=Outcome.WARN, stage="zones", code=code, what=what, done=done)
