"""Headings over ground."""

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from hardpan.core.arrays import Floats


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
