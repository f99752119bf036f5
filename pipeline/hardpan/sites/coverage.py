"""Spatial coverage: sites that leave no ground far from the nearest, those there held fixed; a short way round all."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats, Ints
from hardpan.sites.ground import Ground

MOST_STEPS = 300
"""Steps of one descent; it ends long before, when no site moves."""

TRIES = 3
"""Targets drawn for each site of a start; more made its criterion no smaller."""

STILL = 1e-9
"""Fall of the criterion, as a share, at which a descent ends."""

LONGEST_MOVE = 3
"""Stops moved elsewhere together: the classic number."""

LEAST_GAIN_M = 1e-6
"""A shorter way by less than this is no shorter."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Space:
    """Targets and cells that may be probed, as points of one space: the ground, stretched by its covariates."""

    targets: Floats
    """(n, 2 + q)."""
    weight: Floats
    """(n,) ha."""
    soil: Ints
    """(n,)."""
    cells: Mapping[int, Floats]
    """Soil type to its cells that may be probed, (m, 2 + q)."""
    trees: Mapping[int, KDTree]
    """The same, sorted."""


def space_of(ground: Ground, covariate_share: float) -> Space:
    """Ground as a space in which near is alike; covariates together have so large a share of its variance."""
    targets = ground.targets
    q = targets.covariates.shape[1]
    row, col = np.nonzero(ground.soil_of_cell >= 0)
    there = ground.covariates[:, row, col].T
    spread = float(np.average(((targets.xy_m - targets.xy_m.mean(axis=0)) ** 2).sum(axis=1), weights=targets.ha))
    stretch = np.sqrt(spread * covariate_share / (1.0 - covariate_share) / max(q, 1))
    places, soil = np.column_stack([ground.open_xy_m, stretch * there]), ground.open_soil
    cells = {int(code): places[soil == code] for code in np.unique(soil)}
    return Space(
        targets=np.column_stack([targets.xy_m, stretch * targets.covariates]),
        weight=targets.ha,
        soil=targets.soil,
        cells=cells,
        trees={code: KDTree(there) for code, there in cells.items()},
    )


def cover(ground: Ground, space: Space, counts: Ints, fixed_xy: Floats, *, starts: int, seed: int) -> Floats:
    """Places (k, 2) of `counts` sites in each soil type, of least mean squared distance from the ground to a site.

    Sites move to the middle of the ground they are nearest to, `fixed_xy` (f, 2) stay [walvoort2010]; a site whose
    middle may not be probed takes the nearest cell of its soil type that may. The best of all starts is taken.

    Parameters
    ----------
    counts : (n_soils,)
        No soil type has more than it has cells that may be probed.
    """
    soil = np.repeat(np.arange(len(counts)), counts)
    held = _lifted(ground, space, fixed_xy)
    best, least = np.empty((0, 2)), np.inf
    for start in range(starts):
        rng = np.random.default_rng([seed, start])
        first = _begun(space, counts, held, rng)
        sites = _apart(space, _descend(ground, space, first, soil, held), soil, held, least_m=ground.frame.cell_m)
        found = mean_squared_distance(space.targets, space.weight, np.vstack([sites, held]))
        if found < least * (1.0 - STILL):
            best, least = sites, found
    return best[:, :2]


def mean_squared_distance(targets: Floats, weight: Floats, sites: Floats) -> float:
    """Mean squared shortest distance (MSSD) from targets (n, d) to sites (k, d), weighted.

    Examples
    --------
    One point in the middle of a square of side 1: 1/6.

    >>> side = (np.arange(200) + 0.5) / 200
    >>> square = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2)
    >>> round(mean_squared_distance(square, np.ones(len(square)), np.array([[0.5, 0.5]])), 4)
    0.1667
    """
    apart, _ = KDTree(sites).query(targets)
    return float(np.average(apart**2, weights=weight))


def nearest_ha(targets: Floats, ha: Floats, sites: Floats) -> Floats:
    """Ground that lies nearest to each site, ha, shape (k,)."""
    _, nearest = KDTree(sites).query(targets)
    return np.asarray(np.bincount(nearest, weights=ha, minlength=len(sites)), dtype=np.float64)


def _lifted(ground: Ground, space: Space, xy_m: Floats) -> Floats:
    """Places (k, 2) as points of the space; their covariates are those of the nearest target."""
    if not len(xy_m):
        return np.empty((0, space.targets.shape[1]))
    _, nearest = KDTree(ground.targets.xy_m).query(xy_m)
    return np.column_stack([xy_m, space.targets[nearest, 2:]])


def _begun(space: Space, counts: Ints, held: Floats, rng: np.random.Generator) -> Floats:
    """Start beside fixed sites, or where there are none: targets taken one by one [arthur2007].

    Each is the best of a few that are drawn by weight and squared distance to the sites so far.
    """
    apart = KDTree(held).query(space.targets)[0] ** 2 if len(held) else np.full(len(space.targets), np.inf)
    found = []
    for soil in rng.permutation(np.repeat(np.arange(len(counts)), counts)):
        far = np.where(np.isfinite(apart), np.maximum(apart, 1e-12), 1.0)
        chance = np.where(space.soil == soil, space.weight * far, 0.0)
        drawn = rng.choice(len(chance), size=TRIES, p=chance / chance.sum())
        off = space.targets - space.targets[drawn, None]
        then = np.minimum(apart, np.einsum("tnd,tnd->tn", off, off))
        best = int((then @ space.weight).argmin())
        found.append((int(soil), space.targets[drawn[best]]))
        apart = then[best]
    return np.array([place for _, place in sorted(found, key=lambda one: one[0])])


def _descend(ground: Ground, space: Space, sites: Floats, soil: Ints, held: Floats) -> Floats:
    """Sites moved until none moves: no step raises the criterion."""
    best = sites = _placed(ground, space, sites, soil)
    value = np.inf
    for _ in range(MOST_STEPS):
        apart, nearest = KDTree(np.vstack([sites, held])).query(space.targets)
        now = float(np.average(apart**2, weights=space.weight))
        if now > value * (1.0 - STILL):
            return best
        value, best = now, sites
        sites = _placed(ground, space, _middles(space, nearest, sites), soil)
    return sites


def _middles(space: Space, nearest: Ints, sites: Floats) -> Floats:
    """Middle of the ground nearest to each site; where there is none, the site."""
    total = np.bincount(nearest, weights=space.weight, minlength=len(sites))[: len(sites)]
    sums = np.stack(
        [np.bincount(nearest, weights=space.weight * axis, minlength=len(sites))[: len(sites)]
         for axis in space.targets.T], axis=1,
    )  # fmt: skip
    return np.where(total[:, None] > 0, sums / np.where(total > 0, total, 1.0)[:, None], sites)


def _placed(ground: Ground, space: Space, places: Floats, soil: Ints) -> Floats:
    """Places, or where the ground there may not be probed or is of another soil type the nearest cell that may.

    Of all cells that may be probed that one has the least mean squared distance to the ground of its site.
    """
    out = places.copy()
    for site in np.flatnonzero((ground.soil_at(places[:, :2]) != soil) | (places.shape[1] > 2)):
        code = int(soil[site])
        out[site] = space.cells[code][space.trees[code].query(places[site])[1]]
    return out


def _apart(space: Space, sites: Floats, soil: Ints, held: Floats, *, least_m: float) -> Floats:
    """Sites of which no two are nearer than a cell: a second one goes to the cell of its soil type farthest from all.

    That is a cell of its own as long as there are enough.
    """
    out = sites.copy()
    for site in range(len(out)):
        others = np.vstack([np.delete(out, site, axis=0), held])
        if not len(others) or np.hypot(*(others[:, :2] - out[site, :2]).T).min() >= 0.99 * least_m:
            continue
        cells = space.cells[int(soil[site])]
        out[site] = cells[KDTree(others[:, :2]).query(cells[:, :2])[0].argmax()]
    return out


def walking_order(xy_m: Floats, gate_xy: Floats | None) -> tuple[Ints, float]:
    """Order of the sites (k,) on a short way round, and its length, m.

    The way leads from the gate round all sites and back; without a gate from one site to the last. Nearest neighbours
    first, then turned round (two legs exchanged) and moved (up to three stops) while that shortens it.

    Examples
    --------
    >>> places = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])
    >>> walking_order(places[[0, 2, 1, 3]], np.array([-10.0, 0.0]))[0]
    array([0, 2, 1, 3])
    """
    # stop 0 is the gate; without one it is nowhere, and costs nothing to reach
    between = np.zeros((len(xy_m) + 1, len(xy_m) + 1))
    between[1:, 1:] = cdist(xy_m, xy_m)
    if gate_xy is not None:
        between[0, 1:] = between[1:, 0] = np.hypot(*(xy_m - gate_xy).T)
    tour = _nearest_first(between)
    while (shorter := _turned(tour, between)) is not None or (shorter := _moved(tour, between)) is not None:
        tour = shorter
    if _begins_late(xy_m, tour, between):
        tour = np.concatenate([tour[:1], tour[:0:-1]])
    return tour[1:] - 1, float(between[tour, np.roll(tour, -1)].sum())


def _begins_late(xy_m: Floats, tour: Ints, between: Floats) -> bool:
    """Whether the way is better walked the other way round: the nearer end first, of equals the western one."""
    first, last = tour[1], tour[-1]
    out, home = round(between[0, first], 3), round(between[0, last], 3)
    return out > home or (out == home and tuple(xy_m[last - 1]) < tuple(xy_m[first - 1]))


def _nearest_first(between: Floats) -> Ints:
    left = np.ones(len(between), dtype=bool)
    tour = [0]
    left[0] = False
    while left.any():
        at = int(np.where(left, between[tour[-1]], np.inf).argmin())
        tour.append(at)
        left[at] = False
    return np.array(tour)


def _turned(tour: Ints, between: Floats) -> Ints | None:
    """Tour with the stretch between two legs walked the other way, where that is shorter; None where it never is."""
    after = np.roll(tour, -1)
    legs = between[tour, after]
    gain = legs[:, None] + legs[None, :] - between[np.ix_(tour, tour)] - between[np.ix_(after, after)]
    gain = np.triu(gain, 2)
    at, to = np.unravel_index(gain.argmax(), gain.shape)
    if gain[at, to] <= LEAST_GAIN_M:
        return None
    return np.concatenate([tour[: at + 1], tour[at + 1 : to + 1][::-1], tour[to + 1 :]])


def _moved(tour: Ints, between: Floats) -> Ints | None:
    """Tour with up to three stops in a row put between two others, where that is shorter; None where it never is."""
    n = len(tour)
    for count in range(1, min(LONGEST_MOVE, n - 3) + 1):
        for start in range(1, n - count + 1):
            part, rest = tour[start : start + count], np.concatenate([tour[:start], tour[start + count :]])
            before, after = rest, np.roll(rest, -1)
            here = rest[start - 1], after[start - 1]
            saved = between[here[0], part[0]] + between[part[-1], here[1]] - between[here[0], here[1]]
            for piece in (part, part[::-1]):
                cost = between[before, piece[0]] + between[piece[-1], after] - between[before, after]
                at = int(cost.argmin())
                if saved - cost[at] > LEAST_GAIN_M:
                    return np.concatenate([rest[: at + 1], piece, rest[at + 1 :]])
    return None
