"""The value of information: what knowing the pan better is expected to bring to the choice of depth and set-up.

Each unit of ground gets the option that returns most in expectation. The answer of a probe moves that expectation, and
is worth the mean of the best it then leads to, less the best there is without it (preposterior analysis). How far it
moves depends on the answer's share of what is unknown of the unit as a whole: the share by which kriging says that the
variance of the mean of the map's error over it will fall. Several answers are worth what their joint fall is; none is
worth less than nothing.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options import Stakes
from hardpan.records.plan import Plan
from hardpan.records.surfaces import Surfaces
from hardpan.records.zones import Zones

FALLS = np.array([0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99])
"""Shares of the variance at which values are worked out; between them they are straight."""

_LEAST_HA = 1e-9
"""Stands for no ground."""

_CERTAIN = 1e-4
"""A pan that is there, or is not, but for this chance is taken to have it."""


def _normal(count: int) -> tuple[Floats, Floats]:
    """Values of a standard normal and their probabilities, evenly spaced: Gauss's few would miss a choice's kinks."""
    values = np.linspace(-4.0, 4.0, count)
    weights = np.exp(-0.5 * values**2)
    return values, weights / weights.sum()


_ANSWERS, _WEIGHTS = _normal(31)
"""Answers on the depth of the bottom, in standard deviations, and their probabilities."""

_SIGNS, _SIGN_WEIGHTS = _normal(31)
"""Answers on whether there is a pan at all."""

_SURE = 1e-3
"""A pan that is there, or is not, but for this chance holds no question."""

_NEGLIGIBLE = 1e-9
"""Of the returns: rounding of their sums."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Values:
    """Value of information of m units of ground, by the fall of the variance of bottom and of presence."""

    table: Floats
    """(m, r, r): money, r the number of `FALLS`."""

    def at(self, bottom: Floats, pan: Floats) -> Floats:
        """Values at falls (m, ...) of the variance of bottom and presence, of the same shape."""
        row, row_share = _between(bottom)
        col, col_share = _between(pan)
        unit = np.arange(len(self.table)).reshape(-1, *(1,) * (bottom.ndim - 1))
        low = self.table[unit, row, col] * (1 - col_share) + self.table[unit, row, col + 1] * col_share
        high = self.table[unit, row + 1, col] * (1 - col_share) + self.table[unit, row + 1, col + 1] * col_share
        return np.asarray(low * (1 - row_share) + high * row_share)


def _between(fall: Floats) -> tuple[Ints, Floats]:
    """Place of each fall in `FALLS`, and its share of the way to the next."""
    fall = np.asarray(np.clip(fall, 0.0, FALLS[-1]))
    at: Ints = np.clip(np.searchsorted(FALLS, fall, side="right") - 1, 0, FALLS.size - 2)
    return at, np.asarray((fall - FALLS[at]) / (FALLS[at + 1] - FALLS[at]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Units:
    """Units of ground and what is at stake there, money; k pieces of them lie in one place of the map's errors each."""

    unit: Ints
    """(k,), rising from 0."""
    place: Ints
    """(k,)."""
    ha: Floats
    """(k,)."""
    chance: Floats
    """(k,) of a pan."""
    gain: Floats
    """(k, n_options): expected."""
    slope: Floats
    """(k, n_options): its expected rise for each mm by which the bottom lies deeper."""
    cost: Floats
    """(n_units, n_options): expected; infinite where the option is forbidden."""

    def bottom_shares(self, n_places: int) -> Floats:
        """Share of each unit's ground with a pan that lies in each place, (n_units, n_places)."""
        return self._shares(self.ha * self.chance, n_places)

    def pan_shares(self, n_places: int) -> Floats:
        """Share of each unit's doubt about the pan that lies in each place, (n_units, n_places).

        By how far the chance of a pan moves with the latent field: the normal density, of which it is the integral.
        """
        latent = ndtri(np.clip(self.chance, _CERTAIN, 1.0 - _CERTAIN))
        return self._shares(self.ha * np.exp(-0.5 * latent**2), n_places)

    def _shares(self, weight: Floats, n_places: int) -> Floats:
        shares = np.zeros((len(self.cost), n_places))
        np.add.at(shares, (self.unit, self.place), weight)
        return np.asarray(shares / np.maximum(shares.sum(axis=1, keepdims=True), _LEAST_HA))


def value_information(units: Units, sd_mm: Floats) -> Values:
    """Value of information of every unit.

    Parameters
    ----------
    sd_mm : (n_units,)
        Of the mean of the map's error in the bottom over each unit.
    """
    bounds = np.searchsorted(units.unit, np.arange(len(units.cost) + 1))
    return Values(
        table=np.stack(
            [
                _value_of(
                    units.gain[start:end], sd * units.slope[start:end], cost, given_answers(units.chance[start:end])
                )
                for start, end, sd, cost in zip(bounds[:-1], bounds[1:], sd_mm, units.cost, strict=True)
            ]
        )
        if len(units.cost)
        else np.zeros((0, FALLS.size, FALLS.size))
    )


def _value_of(gain: Floats, rise: Floats, cost: Floats, pan: Floats) -> Floats:
    """Value (r, r) of one unit of pieces with gain and rise (k, n_options) and chances `pan` (r, n_signs, k)."""
    open_to: Bools = np.isfinite(cost)
    level = pan @ gain[:, open_to] - cost[open_to]
    steep = pan @ rise[:, open_to]
    ever = np.unique((level + _ANSWERS[:, None, None, None] * steep).argmax(axis=-1))
    if ever.size < 2:
        return np.zeros((FALLS.size, FALLS.size))
    # by option, fall of bottom and of presence, answer and sign: the largest of few is quickest down the first axis
    level, steep = (np.moveaxis(of[..., ever], -1, 0)[:, None, :, None, :] for of in (level, steep))
    returns = level + (np.sqrt(FALLS)[:, None] * _ANSWERS)[:, None, :, None] * steep
    returns = np.moveaxis(returns.reshape(ever.size, FALLS.size, FALLS.size, -1), 0, -1)
    found = answers_worth(returns, np.outer(_WEIGHTS, _SIGN_WEIGHTS).ravel())
    return np.where(found > _NEGLIGIBLE * np.abs(returns).max(), found, 0.0)


def answers_worth(returns: Floats, chance: Floats) -> Floats:
    """Expected value of sample information, E[max E[U | z]] - max E[U], shape (...); of states, that of perfect one.

    Parameters
    ----------
    returns : (..., n_answers, n_options)
        Expected return of each option given each answer.
    chance : (n_answers,)
        Probability of each answer.

    Examples
    --------
    Two states of which either may be: knowing which lets one choose the better option in each.

    >>> answers_worth(np.array([[10.0, 4.0], [0.0, 4.0]]), np.array([0.5, 0.5])).item()
    2.0
    """
    without = np.einsum("...ao,a->...o", returns, chance).max(axis=-1)
    return np.asarray(np.einsum("...a,a->...", returns.max(axis=-1), chance) - without)


def given_answers(chance: Floats) -> Floats:
    """Chance of a pan given an answer over that without any, (r, n_signs, k), by fall of the variance of its presence.

    Latent field and answer are jointly normal: P(pan | t) = Phi((a + rho t) / sqrt(1 - rho^2)), Phi(a) the chance
    without an answer and rho^2 the fall. The mean over the answers is 1.

    Parameters
    ----------
    chance : (k,)
    """
    rho = np.sqrt(FALLS)[:, None, None]
    latent = ndtri(np.clip(chance, _SURE, 1.0 - _SURE))
    given = ndtr((latent + rho * _SIGNS[:, None]) / np.sqrt(1.0 - rho**2))
    given = given / np.einsum("rtk,t->rk", given, _SIGN_WEIGHTS)[:, None, :]
    return np.where((chance > _SURE) & (chance < 1.0 - _SURE), given, 1.0)


def units_of(zones: Zones, plan: Plan, surfaces: Surfaces, stakes: Stakes) -> Units:
    """Units of the ground of a plan.

    What an option costs a zone beyond what it costs its nodes, setting it for one, falls on its units by area; what
    the zone forbids is forbidden to them. Leaving is open to all.
    """
    ground = zones.table.loc[zones.table["kind"] == "ground", "zone"].to_numpy()
    unit, zone, node, ha = _cut(zones, ground, surfaces)
    n_units, zone_of = int(unit.max(initial=-1)) + 1, np.zeros(int(unit.max(initial=-1)) + 1, dtype=np.int64)
    zone_of[unit] = zone
    zone_ha = np.bincount(zone, weights=ha, minlength=ground.size)

    def summed(per_ha: Floats, of: Ints, count: int) -> Floats:
        total = np.zeros((count, per_ha.shape[1]))
        np.add.at(total, of, per_ha[node] * ha[:, None])
        return total

    net, allowed = _net_per_ha(plan, ground, stakes.option)
    more = zone_ha[:, None] * net - summed(stakes.gain - stakes.cost, zone, ground.size)
    more_per_ha = np.where(allowed, -more, np.inf) / np.maximum(zone_ha, _LEAST_HA)[:, None]
    unit_ha = np.bincount(unit, weights=ha, minlength=n_units)
    place = surfaces.errors.place_of_node[node]
    pieces, piece = np.unique(unit * (place.max(initial=0) + 1) + place, return_inverse=True)
    first = np.unique(piece, return_index=True)[1]
    piece_ha = np.asarray(np.bincount(piece, weights=ha, minlength=pieces.size), dtype=np.float64)
    return Units(
        unit=unit[first],
        place=place[first],
        ha=piece_ha,
        chance=summed(stakes.chance[:, None], piece, pieces.size)[:, 0] / np.maximum(piece_ha, _LEAST_HA),
        gain=summed(stakes.gain, piece, pieces.size),
        slope=summed(stakes.slope, piece, pieces.size),
        cost=summed(stakes.cost, unit, n_units) + unit_ha[:, None] * more_per_ha[zone_of],
    )


def _cut(zones: Zones, ground: Ints, surfaces: Surfaces) -> tuple[Ints, Ints, Ints, Floats]:
    """Unit, zone (its place in `ground`), node and area of all ground of one unit and node."""
    label, node = zones.labels, surfaces.node_of_cell
    there: Bools = np.isin(label, ground) & (node >= 0)
    zone = np.searchsorted(ground, label[there])
    classes = zones.classes[there] + 1
    unit = np.unique(zone * (classes.max(initial=0) + 1) + classes, return_inverse=True)[1]
    n_nodes = int(node.max()) + 1
    both, first, count = np.unique(unit * n_nodes + node[there], return_index=True, return_counts=True)
    return both // n_nodes, zone[first], both % n_nodes, count * surfaces.frame.cell_area_ha


def _net_per_ha(plan: Plan, ground: Ints, option: Ints) -> tuple[Floats, Bools]:
    """Expected net return per ha of each option in each zone of `ground`, and whether it is allowed there."""
    table = plan.candidates[plan.candidates["zone"].isin(ground) & plan.candidates["option"].isin(option)]
    net = table.pivot(index="zone", columns="option", values="net_per_ha").reindex(index=ground, columns=option)
    found = net.to_numpy(float)
    return np.nan_to_num(found), np.isfinite(found)
