"""Runs a machine drives over ground: their mean length, and the heading that makes it longest."""

from collections.abc import Sequence

import numpy as np
import shapely

from hardpan.core.arrays import Floats

HEADINGS_DEG = np.arange(0.0, 180.0, 1.0)
"""Headings tried; a degree changes the mean run by far less than the operator's choice of line does."""


def runs_over(
    shapes: Sequence[shapely.Geometry], *, width_m: float, cell_m: float, heading_deg: float | None
) -> tuple[list[float], list[float]]:
    """Mean run length (m) and heading (degrees, grid north) of each shape, for an implement of `width_m`.

    Wiggles narrower than the implement, the steps of a grid's cells among them, make no runs of their own; runs follow
    `heading_deg` where it is given.
    """
    tried = HEADINGS_DEG if heading_deg is None else np.array([heading_deg % 180.0])
    runs = [best_run(shape, max(width_m, cell_m), tried) for shape in shapes]
    return [length_m for length_m, _ in runs], [heading for _, heading in runs]


def best_run(shape: shapely.Geometry, wiggle_m: float, headings_deg: Floats = HEADINGS_DEG) -> tuple[float, float]:
    """Mean run length (m) along the best heading, and that heading (degrees, grid north, 0 to 180).

    Parallel runs over a shape of area A number, summed over their offsets, half the sum of its edges' extents across
    the heading; so the mean run is A / (1/2 sum |edge x heading|), also with holes and several parts (Cauchy). Wiggles
    of less than `wiggle_m`, the steps of a grid's cells among them, make no runs of their own and are taken off first.
    """
    plain = shapely.simplify(shape, wiggle_m)
    plain = plain if plain.is_valid and plain.area > 0 else shape
    heading = np.deg2rad(headings_deg)
    across = np.stack([np.cos(heading), -np.sin(heading)])
    breadth_m = np.zeros(heading.size)
    for ring in shapely.get_rings(shapely.get_parts(plain)):
        breadth_m += np.abs(np.diff(shapely.get_coordinates(ring), axis=0) @ across).sum(axis=0) / 2.0
    best = int(np.argmin(np.round(breadth_m, 6)))
    return float(plain.area / breadth_m[best]), float(headings_deg[best])
