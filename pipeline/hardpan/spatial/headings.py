"""Headings over ground."""

import numpy as np

from hardpan.core.arrays import Floats


def way_of(heading_deg: float) -> Floats:
    """Step of 1 m east and north (2,) along a heading, degrees clockwise from grid north.

    >>> way_of(90.0).round(6).tolist()
    [1.0, 0.0]
    """
    heading = np.deg2rad(heading_deg)
    return np.array([np.sin(heading), np.cos(heading)])
