"""Kriging in a moving neighbourhood, for more data than one factorisation can hold (dense sensor data).

Cells share neighbourhoods: the plane is cut into square tiles, and all targets of a tile are kriged from the data
nearest to its centre. `strict` gives every target exactly its k nearest.

The trend is estimated anew in every neighbourhood; where its data do not determine it the map is missing (NaN).
"""

from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats
from hardpan.core.errors import HardpanError
from hardpan.core.threads import Progress, run_parts, silent
from hardpan.geostat.covariance import (
    COINCIDENT_M,
    FAMILIES,
    Covariance,
    anisotropy_matrix,
    block_covariance,
    block_quadrature,
    block_variance,
)
from hardpan.geostat.kriging import Kriged, krige_places
from hardpan.geostat.mixture import condition_on
from hardpan.geostat.neighbours import (
    CompiledCovariance,
    Groups,
    PlacedData,
    Targets,
    group_targets,
    merge_coincident,
)
from hardpan.geostat.observations import Observations

_BATCH = 128
"""Groups solved between two looks at the progress."""

_WORTH_COMPILING = 3_000_000
"""Targets times neighbours from which the plain loops take seconds; the compiled ones are kept after the first use."""

NOISE_FLOOR = 1e-12
"""Least noise of a datum over the sill of the field: data without any are then met within this share."""

Solver = Callable[[Groups, PlacedData, Targets, tuple[int, int]], None]


def krige_nearest(  # noqa: PLR0917
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
) -> Kriged:
    """Universal-kriging mean (m,) or (m, r) and variance (m,) from the nearest data, at points or over blocks.

    Data at one place are merged first: their mean, weighted by the inverse of their noise, stands for them with the
    noise it has. Memory grows with n + m only.

    Parameters
    ----------
    covariance : Covariance
        Of the field, and of one datum's noise; every place is a site of its own.
    xy_m, drift : Floats
        (n, 2) data and (n, p) trend columns.
    values : Floats
        (n,) or (n, r); no missing values.
    targets_xy, target_drift : Floats
        (m, 2) points or block centres and (m, p) trend columns there.
    neighbours : int
        k, the least number of data a target is kriged from.
    strict : bool
        Exactly the k nearest data for every target, at the cost of one factorisation each.
    error_variance : Floats | None
        (n,) variance added to the noise, per datum.
    block_m, threads, progress
        As in `krige_places`.

    Raises
    ------
    HardpanError
        Fewer neighbours than trend columns are asked for.

    Examples
    --------
    >>> x = np.arange(100.0)
    >>> xy, one = np.column_stack([x, 0 * x]), np.ones((100, 1))
    >>> from hardpan import geostat
    >>> field = Covariance(structures=(geostat.Structure(family="exponential", sill=1.0, length_m=20.0),))
    >>> krige_nearest(field, xy, one, x**2, np.array([[50.0, 0.0]]), one[:1], neighbours=8).mean.round(6)
    array([2500.])
    """
    if neighbours <= drift.shape[1]:
        raise HardpanError(
            what=f"{neighbours} neighbours cannot carry a trend of {drift.shape[1]} columns",
            where="neighbourhood kriging",
            right=f"more than {drift.shape[1]}",
        )
    noise = np.full(len(xy_m), covariance.noise) + (0.0 if error_variance is None else error_variance)
    data = merge_coincident(PlacedData(xy_m=xy_m, drift=drift, values=values.reshape(len(values), -1), noise=noise))
    if not len(targets_xy):
        return Kriged(mean=np.empty((0, *values.shape[1:])), variance=np.empty(0))
    order, groups = group_targets(data.xy_m, targets_xy, neighbours, threads, strict=strict)
    shape = (len(order), data.values.shape[1])
    targets = Targets(
        xy_m=targets_xy[order], drift=target_drift[order], mean=np.empty(shape), variance=np.empty(shape[0])
    )
    solve = _solver(covariance, block_m, len(order) * neighbours)
    count = len(groups.near)

    def solve_batch(batch: int) -> None:
        solve(groups, data, targets, (batch * _BATCH, min((batch + 1) * _BATCH, count)))

    run_parts(solve_batch, -(-count // _BATCH), threads=threads, progress=progress)
    back = np.empty_like(order)
    back[order] = np.arange(len(order))
    return Kriged(mean=targets.mean[back].reshape(-1, *values.shape[1:]), variance=targets.variance[back])


def _solver(covariance: Covariance, block_m: float | None, work: int) -> Solver:
    """Function that solves groups: compiled where that pays and the compiler is installed, plain otherwise."""
    plain = partial(_solve_groups, covariance, block_m=block_m)
    if work < _WORTH_COMPILING:
        return plain
    try:
        from hardpan.geostat.compiled import solve_groups  # noqa: PLC0415
    except ImportError:
        return plain
    offsets, weights = block_quadrature(block_m)
    micro, structures = covariance.micro, covariance.structures
    compiled = CompiledCovariance(
        families=np.array([FAMILIES.index(s.family) for s in structures], dtype=np.int64),
        sills=np.array([s.sill for s in structures]),
        scalings=np.array([anisotropy_matrix(s) for s in structures]).reshape(-1, 2, 2),
        offsets=offsets,
        weights=weights,
        micro=0.0 if block_m else micro,
        prior=block_variance(covariance, block_m) + (0.0 if block_m else micro),
    )

    def solve(groups: Groups, data: PlacedData, targets: Targets, part: tuple[int, int]) -> None:
        solve_groups(groups, data._replace(noise=data.noise + micro), targets, compiled, part)

    return solve


def _solve_groups(
    covariance: Covariance,
    groups: Groups,
    data: PlacedData,
    targets: Targets,
    part: tuple[int, int],
    *,
    block_m: float | None,
) -> None:
    """Krige the targets of groups part[0] to part[1], each group from a posterior of its own."""
    field = Covariance(structures=covariance.structures, micro=covariance.micro)
    floor = NOISE_FLOOR * field.sill
    for group in range(*part):
        here, near = slice(groups.start[group], groups.start[group + 1]), groups.near[group]
        xy_m, values = data.xy_m[near], data.values[near]
        used = np.any(data.drift[near] != 0, axis=0)  # a column no near datum has must not be needed
        drift, trend = data.drift[near][:, used], targets.drift[here][:, used]
        seen = Observations(
            site=np.arange(len(near)), low=values[:, 0], high=values[:, 0], error=np.maximum(data.noise[near], floor)
        )
        try:
            mixture = condition_on(field, xy_m, seen, trend=drift, trend_precision=np.zeros(drift.shape[1]))
        except HardpanError:
            targets.mean[here], targets.variance[here] = np.nan, np.nan
            continue
        kriged = krige_places(mixture, targets.xy_m[here], trend, block_m)
        absent = np.any(targets.drift[here][:, ~used] != 0, axis=1)
        targets.variance[here] = np.where(absent, np.nan, kriged.variance)
        targets.mean[here, 0] = kriged.mean
        if values.shape[1] > 1:
            beta, weights = mixture.dual_weights(values[:, 1:])
            onto = block_covariance(field, xy_m, targets.xy_m[here], block_m)
            if field.micro and not block_m:
                onto += field.micro * (cdist(xy_m, targets.xy_m[here]) <= COINCIDENT_M)
            targets.mean[here, 1:] = trend @ beta + onto.T @ weights
        targets.mean[here][absent] = np.nan
