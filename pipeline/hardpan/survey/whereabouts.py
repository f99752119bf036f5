"""Where the probes stand with respect to the paddock, and what a wrong place may come from."""

import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools, Floats
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.said import Said, distance
from hardpan.records.issues import Issue
from hardpan.spatial.datum import Points
from hardpan.survey.land import Axes
from hardpan.survey.notes import warned


def check_whereabouts(
    axes: Axes,
    move: Points,
    boundary: shapely.Geometry,
    tolerance_m: float,
    *,
    geographic: bool,
    file: str,
) -> None:
    """Refuse positions of which none lies at the paddock, and say what would put them there.

    Raises
    ------
    AmbiguousInputError
        Swapping the axes or changing a sign would put them inside.
    InputError
        Nothing would.
    """
    here = np.isfinite(axes.x)
    x, y = axes.x[here], axes.y[here]
    nearest = _distances(move, x, y, boundary).min(initial=np.inf)
    if nearest <= max(tolerance_m, 1000.0) and (_distances(move, x, y, boundary) <= tolerance_m).any():
        return
    tries = {"x and y are swapped": (y, x)}
    if geographic:
        tries |= {"the sign of latitude is lost": (x, -y), "the sign of longitude is lost": (-x, y)}
        tries |= {"both signs are lost": (-x, -y)}
    for guess, (east, north) in tries.items():
        if (_distances(move, east, north, boundary) <= tolerance_m).mean() > 0.5:
            raise AmbiguousInputError(
                what=f"all probes lie {nearest / 1000:.1f} km or more from the boundary; it would fit if {guess}",
                where=file,
                do="swap probes.columns.x and probes.columns.y" if "swapped" in guess else "mend the sign in the file",
            )
    raise InputError(
        what=f"no probe lies within {tolerance_m:g} m of the boundary, the nearest is {nearest / 1000:.2f} km away",
        where=file,
        do="check probes.crs and paddock.boundary",
    )


def _distances(move: Points, x: Floats, y: Floats, boundary: shapely.Geometry) -> Floats:
    with np.errstate(invalid="ignore"):
        east, north = move(x, y)
    good = np.isfinite(east) & np.isfinite(north)
    away = np.full(len(x), np.inf)
    away[good] = shapely.distance(shapely.points(east[good], north[good]), boundary)
    return away


_KEPT, _DROPPED = "kept: within the tolerance of {tolerance}", "dropped: beyond {tolerance}"


def drop_outside(
    insertions: pd.DataFrame, boundary: shapely.Geometry, tolerance_m: float
) -> tuple[Bools, tuple[Issue, ...]]:
    """Which insertions to keep, and the distance of those outside the boundary."""
    points = shapely.points(insertions["x_m"].to_numpy(), insertions["y_m"].to_numpy())
    away = shapely.distance(points, boundary)
    keep = away <= tolerance_m
    edge = (away > 0.05) & keep
    issues = [
        warned(
            "outside-boundary",
            Said("stands {away} outside the boundary", away=distance(away_m, 1)),
            Said(_KEPT if kept else _DROPPED, tolerance=distance(tolerance_m)),
            file=str(file),
            place=f"site {site}",
        )
        for site, file, away_m, kept in sorted(
            {
                (site, file, round(float(one_m), 1), bool(kept))
                for site, file, one_m, kept in zip(
                    insertions["site"][~keep | edge],
                    insertions["file"][~keep | edge],
                    away[~keep | edge],
                    keep[~keep | edge],
                    strict=True,
                )
            }
        )
    ]
    return keep, tuple(issues)
