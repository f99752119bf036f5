"""Run lengths of zones."""

import numpy as np
import shapely

HEADINGS_DEG = np.arange(0.0, 180.0, 1.0)
"""Headings tried; a degree changes the mean run by far less than the operator's choice of line does."""


def best_run(shape: shapely.Geometry, wiggle_m: float) -> tuple[float, float]:
    """Mean run length (m) along the best heading, and that heading (degrees, grid north, 0 to 180).

    Parallel runs over a shape of area A number, summed over their offsets, half the sum of its edges' extents across
    the heading; so the mean run is A / (1/2 sum |edge x heading|), also with holes and several parts (Cauchy). Wiggles
    of less than `wiggle_m`, the steps of a grid's cells among them, make no runs of their own and are taken off first.
    """
    plain = shapely.simplify(shape, wiggle_m)
    plain = plain if plain.is_valid and plain.area > 0 else shape
    heading = np.deg2rad(HEADINGS_DEG)
    across = np.stack([np.cos(heading), -np.sin(heading)])
    breadth_m = np.zeros(heading.size)
    for ring in shapely.get_rings(shapely.get_parts(plain)):
        breadth_m += np.abs(np.diff(shapely.get_coordinates(ring), axis=0) @ across).sum(axis=0) / 2.0
    best = int(np.argmin(np.round(breadth_m, 6)))
    return float(plain.area / breadth_m[best]), float(HEADINGS_DEG[best])
