"""The one rule by which coordinates change their datum: a named operation, never a guess."""

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]
from pyproj.transformer import TransformerGroup

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.survey import DatumMove

Points: TypeAlias = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""Moves coordinates x, y to another CRS."""

Bounds: TypeAlias = tuple[float, float, float, float]
"""West, south, east, north."""

GDA94, GDA2020, WGS84 = 4283, 7844, 4326
"""Registry codes of datums that the rule names."""

GDA2020_AS_WGS84_M = 3.0
"""What the registry says of taking GDA2020 as WGS 84 (any of its realisations); the shift from GDA94 to GDA2020 itself
is good to a centimetre."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Move:
    """A way from one CRS to another."""

    points: Points
    operation: str
    accuracy_m: float | None
    changes_datum: bool

    def said(self, file: str, source: pyproj.CRS, target: pyproj.CRS) -> DatumMove:
        """Record of this move for `file`."""
        return DatumMove(
            file=file,
            from_crs=label(source),
            to_crs=label(target),
            operation=self.operation,
            accuracy_m=self.accuracy_m,
        )


def plan_move(source: pyproj.CRS, target: pyproj.CRS, bounds: Bounds, *, file: str) -> Move:
    """Way from `source` to `target` over `bounds` (west, south, east, north in degrees).

    Notes
    -----
    GDA94 and GDA2020 differ by up to 1.8 m, yet the registry has a "no change" operation from each to WGS 84. GDA94
    therefore comes to WGS 84 by way of GDA2020, and back likewise; GDA2020 and WGS 84 are taken to be one
    (`gda2020`).

    Raises
    ------
    InputError
        There is no operation, or only a ballpark one.
    """
    set_network_enabled(active=False)
    codes = tuple((crs.geodetic_crs or crs).to_epsg(min_confidence=70) for crs in (source, target))
    if source.equals(target, ignore_axis_order=True):
        return Move(points=lambda x, y: (x, y), operation="none", accuracy_m=0.0, changes_datum=False)
    if codes[0] is not None and codes[0] == codes[1]:
        move = _transformer(source, target, bounds, file)
        return Move(points=move[0], operation=move[1], accuracy_m=0.0, changes_datum=False)
    if set(codes) == {GDA94, WGS84}:
        return _by_way_of_gda2020(source, target, bounds, file)
    points, operation, accuracy = _transformer(source, target, bounds, file)
    return Move(points=points, operation=operation, accuracy_m=accuracy, changes_datum=True)


def _by_way_of_gda2020(source: pyproj.CRS, target: pyproj.CRS, bounds: Bounds, file: str) -> Move:
    middle = pyproj.CRS.from_epsg(GDA2020)
    wgs84 = pyproj.CRS.from_epsg(WGS84)
    forward = (source.geodetic_crs or source).to_epsg(min_confidence=70) == GDA94
    legs = ((source, middle), (wgs84, target)) if forward else ((source, wgs84), (middle, target))
    first, second = (_transformer(start, end, bounds, file) for start, end in legs)

    def points(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        return second[0](*first[0](x, y))

    shift = first[1] if forward else second[1]
    return Move(
        points=points,
        operation=f"{shift}, GDA2020 taken as WGS 84",
        accuracy_m=GDA2020_AS_WGS84_M,
        changes_datum=True,
    )


def _transformer(source: pyproj.CRS, target: pyproj.CRS, bounds: Bounds, file: str) -> tuple[Points, str, float | None]:
    with warnings.catch_warnings(action="ignore"):  # that a better grid is not installed; the accuracy is reported
        group = TransformerGroup(
            source,
            target,
            always_xy=True,
            area_of_interest=AreaOfInterest(*bounds),  # type: ignore[arg-type]
            allow_ballpark=False,
        )
    if not group.transformers:
        raise InputError(
            what=f"no known operation from {label(source)} to {label(target)} but a ballpark one (off by up to 200 m)",
            where=file,
            do="transform the file yourself, or name another working CRS in paddock.crs",
        )
    best = group.transformers[0]

    def points(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        east, north = best.transform(x, y)
        return np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64)

    name = best.description.replace("axis order change (2D) + ", "").replace(" + axis order change (2D)", "")
    return points, name, best.accuracy if best.accuracy >= 0 else None


def label(crs: pyproj.CRS) -> str:
    """Name of a CRS: "EPSG:code" where it has one."""
    authority = crs.to_authority(min_confidence=70)
    return ":".join(authority) if authority else str(crs.name)
