"""Kriging from the nearest data only, for more data than one factorisation can hold (dense sensor data).

Cells share neighbourhoods: the plane is cut into square tiles whose side is 0.58 of the typical distance d to the k-th
neighbour, and all targets of a tile are kriged from the 2 k data nearest to its centre. These lie within about
1.41 d of the centre, so a target, at most 0.41 d from it, has its own k nearest data among them where data are evenly
dense. `strict` gives every target exactly its k nearest.

The trend is estimated anew in every neighbourhood; where its data do not determine it the map is missing (NaN).
"""

from collections.abc import Callable
from functools import partial

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.errors import HardpanError
from hardpan.core.progress import Progress, silent
from hardpan.core.threads import run_tiles
from hardpan.geostat.covariance import Covariance, scaling
from hardpan.geostat.neighbours import Data, Field, Groups, Targets, group_targets, merge_coincident
from hardpan.geostat.points import Prediction, kriging_variance
from hardpan.geostat.support import block_nodes, covariance_with_data, support_variance
from hardpan.geostat.system import factorise, invert_factor, solve_weights

_BATCH = 128
"""Tiles solved between two looks at the progress."""

_WORTH_COMPILING = 3_000_000
"""Targets times neighbours from which the plain loops take seconds; the compiled ones are kept after the first use."""

FAMILIES = ("exponential", "spherical", "matern32", "matern52")
"""In the order of their codes in the compiled loops."""


Solver = Callable[[Groups, Data, Targets, tuple[int, int]], None]


def predict_local(  # noqa: PLR0917
    covariance: Covariance,
    xy_m: Floats,
    drift: Floats,
    values: Floats,
    targets_xy: Floats,
    target_drift: Floats,
    *,
    neighbours: int = 32,
    strict: bool = False,
    error_variance: Floats | None = None,
    block_m: float | None = None,
    threads: int = 1,
    progress: Progress = silent,
) -> Prediction:
    """Give the field kriged from the nearest data, at m points or over m blocks.

    Data at one place are merged first: their mean, weighted by the inverse of their noise, stands for them with the
    noise it has. Memory grows with n + m only.

    Parameters
    ----------
    covariance, xy_m, drift, error_variance
        As in `factorise`; every place is a site of its own.
    values : Floats
        (n,) or (n, r); no missing values.
    targets_xy, target_drift, block_m, threads, progress
        As in `predict`.
    neighbours : int
        k, the least number of data a target is kriged from.
    strict : bool
        Exactly the k nearest data for every target, at the cost of one factorisation each.

    Raises
    ------
    HardpanError
        Fewer neighbours than trend columns are asked for.
    """
    if neighbours <= drift.shape[1]:
        raise HardpanError(
            what=f"{neighbours} neighbours cannot carry a trend of {drift.shape[1]} columns",
            where="neighbourhood kriging",
            right=f"more than {drift.shape[1]}",
        )
    noise = np.full(len(xy_m), covariance.noise) + (0.0 if error_variance is None else error_variance)
    data = merge_coincident(Data(xy_m=xy_m, drift=drift, values=values.reshape(len(values), -1), noise=noise))
    if not len(targets_xy):
        return Prediction(mean=np.empty((0, *values.shape[1:])), variance=np.empty(0))
    order, groups = group_targets(data.xy_m, targets_xy, neighbours, threads, strict=strict)
    shape = (len(order), data.values.shape[1])
    targets = Targets(
        xy_m=targets_xy[order], drift=target_drift[order], mean=np.empty(shape), variance=np.empty(shape[0])
    )
    solve = _solver(covariance, block_m, len(order) * neighbours)
    count = len(groups.near)

    def solve_batch(batch: int) -> None:
        solve(groups, data, targets, (batch * _BATCH, min((batch + 1) * _BATCH, count)))

    run_tiles(solve_batch, -(-count // _BATCH), threads=threads, progress=progress)
    back = np.empty_like(order)
    back[order] = np.arange(len(order))
    return Prediction(mean=targets.mean[back].reshape(-1, *values.shape[1:]), variance=targets.variance[back])


def _solver(covariance: Covariance, block_m: float | None, work: int) -> Solver:
    """Give what solves groups: compiled where that pays and the compiler is installed, plain otherwise."""
    prior = support_variance(covariance, block_m)
    if work >= _WORTH_COMPILING:
        try:
            from hardpan.geostat.compiled import solve_groups  # noqa: PLC0415
        except ImportError:
            return partial(_solve_groups, covariance, block_m=block_m)
        offsets, weights = block_nodes(block_m)
        micro, structures = covariance.micro, covariance.structures
        field = Field(
            families=np.array([FAMILIES.index(s.family) for s in structures], dtype=np.int64),
            sills=np.array([s.sill for s in structures]),
            scalings=np.array([scaling(s) for s in structures]).reshape(-1, 2, 2),
            offsets=offsets,
            weights=weights,
            micro=0.0 if block_m else micro,
            prior=prior,
        )

        def solve(groups: Groups, data: Data, targets: Targets, part: tuple[int, int]) -> None:
            solve_groups(groups, data._replace(noise=data.noise + micro), targets, field, part)

        return solve
    return partial(_solve_groups, covariance, block_m=block_m)


def _solve_groups(
    covariance: Covariance,
    groups: Groups,
    data: Data,
    targets: Targets,
    part: tuple[int, int],
    *,
    block_m: float | None,
) -> None:
    """Krige the targets of groups part[0] to part[1], each group with its own small system."""
    for group in range(*part):
        here, near = slice(groups.start[group], groups.start[group + 1]), groups.near[group]
        used = np.any(data.drift[near] != 0, axis=0)  # a column no near datum has must not be needed
        drift, trend = data.drift[near][:, used], targets.drift[here][:, used]
        try:
            system = factorise(covariance, data.xy_m[near], drift, error_variance=data.noise[near] - covariance.noise)
        except HardpanError:
            targets.mean[here], targets.variance[here] = np.nan, np.nan
            continue
        beta, weights = solve_weights(system, data.values[near])
        c = covariance_with_data(system, targets.xy_m[here], block_m)
        absent = np.any(targets.drift[here][:, ~used] != 0, axis=1)
        targets.mean[here] = np.where(absent[:, None], np.nan, trend @ beta + c.T @ weights)
        spread = kriging_variance(system, invert_factor(system), c, trend, support_variance(covariance, block_m))
        targets.variance[here] = np.where(absent, np.nan, spread)
