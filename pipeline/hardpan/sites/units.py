"""Ground that gets one depth and set-up when the zones are drawn anew: a class of like cells in a zone of the plan."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options import Stakes
from hardpan.records.plan import Plan
from hardpan.records.surfaces import Surfaces
from hardpan.records.zones import Zones

_LEAST_HA = 1e-9
"""Stands for no ground."""

_SURE = 1e-4
"""A pan that is there, or is not, but for this chance is taken to have it."""


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
        latent = ndtri(np.clip(self.chance, _SURE, 1.0 - _SURE))
        return self._shares(self.ha * np.exp(-0.5 * latent**2), n_places)

    def _shares(self, weight: Floats, n_places: int) -> Floats:
        shares = np.zeros((len(self.cost), n_places))
        np.add.at(shares, (self.unit, self.place), weight)
        return np.asarray(shares / np.maximum(shares.sum(axis=1, keepdims=True), _LEAST_HA))


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
