"""Headings over ground, and runs a machine drives: their mean length, and the heading that makes it longest."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from hardpan.core.arrays import Floats

HEADINGS_DEG = np.arange(0.0, 180.0, 1.0)
"""Headings tried; a degree changes the mean run by far less than the operator's choice of line does."""
LEAST_INNER = 0.1
"""Share of ground within the headland below which it makes no runs of its own."""
PLAINER = 0.05
"""Share of the headland's width that the boundary may move before the headland is taken off: nobody laps wiggles."""


def runs_over(
    shapes: Sequence[shapely.Geometry], *, width_m: float, cell_m: float, heading_deg: float | None
) -> tuple[list[float], list[float]]:
    """Mean run length (m) and heading (degrees, grid north) of each shape, for an implement of `width_m`.

    Wiggles narrower than the implement, the steps of a grid's cells among them, make no runs of their own; runs follow
    `heading_deg` where it is given.
    """
    tried = _tried(heading_deg)
    runs = [best_run(shape, max(width_m, cell_m), tried) for shape in shapes]
    return [length_m for length_m, _ in runs], [heading for _, heading in runs]


def within_headland(ground: shapely.Geometry, headland_m: float) -> shapely.Geometry:
    """Ground inside a headland of that width along its boundary."""
    return shapely.buffer(shapely.simplify(ground, PLAINER * headland_m), -headland_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """How ground is driven over."""

    run_m: float
    """Mean way between two turns."""
    heading_deg: float
    """Of the runs, from grid north, 0 to 180."""
    headland: float
    """Share of the ground that is headland."""


def drive_over(
    shape: shapely.Geometry, inner: shapely.Geometry, *, width_m: float, cell_m: float, heading_deg: float | None
) -> Drive:
    """How a shape is driven with an implement of `width_m`: runs over what lies in `inner`, laps of the headland.

    The machine turns once a run, and not on the laps: so the mean way between two turns is the whole way, area over
    width, over the number of runs, and the mean run of the inner ground its share of that. Ground that is headland
    throughout is driven in runs of its own.
    """
    tried = _tried(heading_deg)
    inside = shapely.intersection(shape, inner)
    share = float(shapely.area(inside) / shapely.area(shape))
    if share < LEAST_INNER:
        run_m, heading = best_run(shape, max(width_m, cell_m), tried)
        return Drive(run_m=run_m, heading_deg=heading, headland=1.0 - share)
    run_m, heading = best_run(inside, max(width_m, cell_m), tried)
    return Drive(run_m=run_m / share, heading_deg=heading, headland=1.0 - share)


def driven_columns(
    shapes: Sequence[shapely.Geometry], area_ha: Floats, inner: shapely.Geometry, *, width_m: float, cell_m: float,
    heading_deg: float | None,
) -> dict[str, Floats]:  # fmt: skip
    """How each shape is driven, as columns of `Zones.table`: `length_m`, `heading_deg` and `headland_ha`, (n,) each.

    `area_ha` (n,) are the areas of the shapes; the rest as for `drive_over`.
    """
    drives = [drive_over(one, inner, width_m=width_m, cell_m=cell_m, heading_deg=heading_deg) for one in shapes]
    return {
        "length_m": np.array([drive.run_m for drive in drives]),
        "heading_deg": np.array([drive.heading_deg for drive in drives]),
        "headland_ha": area_ha * np.array([drive.headland for drive in drives]),
    }


def _tried(heading_deg: float | None) -> Floats:
    return HEADINGS_DEG if heading_deg is None else np.array([heading_deg % 180.0])


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


def way_of(heading_deg: float) -> Floats:
    """Step of 1 m east and north (2,) along a heading, degrees clockwise from grid north.

    >>> way_of(90.0).round(6).tolist()
    [1.0, 0.0]
    """
    heading = np.deg2rad(heading_deg)
    return np.array([np.sin(heading), np.cos(heading)])


def mean_heading(lines: NDArray[Any]) -> tuple[float, float]:
    """Mean heading of lines and how far they agree on it: degrees from grid north, 0 to 180, and a share.

    Axial mean of the segments, weighted with their lengths l: R exp(2i m) = sum l exp(2i a) / sum l, with the heading
    m and the mean resultant length R, 1 where all run one way and 0 where none prevails (`mardia2000`).

    Parameters
    ----------
    lines : array of geometries, shape (n,)
        Lines or outlines in metres.

    Returns
    -------
    heading_deg, agreement : float
        Both 0 where the lines have no length.

    Examples
    --------
    >>> there_and_back = shapely.from_wkt(["LINESTRING (0 0, 100 0)", "LINESTRING (100 12, 0 12)"])
    >>> mean_heading(there_and_back)
    (90.0, 1.0)
    """
    xy, part = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    steps = np.diff(xy, axis=0)[np.diff(part) == 0]
    length = np.hypot(steps[:, 0], steps[:, 1])
    if not length.sum():
        return 0.0, 0.0
    mean = (length * np.exp(2j * np.arctan2(steps[:, 0], steps[:, 1]))).sum() / length.sum()
    return float(np.rad2deg(np.angle(mean)) / 2.0 % 180.0), float(abs(mean))


def count_runs(area_m2: float, run_m: float, width_m: float) -> int:
    """Runs of a working width that cover ground once, whole ones: its breadth across the runs over that width.

    `run_m` is the mean length of run, area over breadth, so that the breadth is that of the real outline.

    >>> count_runs(120_000.0, 400.0, 4.2)
    72
    """
    return int(np.ceil(area_m2 / run_m / width_m))
