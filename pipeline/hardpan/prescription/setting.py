"""What setting and checking a further zone costs, and changing the fittings, and the choice that pays for them."""

from dataclasses import replace

import geopandas as gpd
import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options import LEAVE, ZoneEvaluation, change_cost, change_hours, change_price, choose
from hardpan.prescription.context import SETTING_ROUNDS, Context, Settled
from hardpan.spatial.borders import groups_side_by_side

_LEAST_HA = 1e-9
"""Stands for the area of exclusions, which is not worked."""


def choose_and_set(context: Context, evaluation: ZoneEvaluation) -> Settled:
    """Option of each zone and the set-ups fitted, setting and changes paid.

    Parameters
    ----------
    evaluation : ZoneEvaluation
        Without those.
    """
    table, price, n_setups = context.table, context.catalog.prices.extra_zone.value, len(context.catalog.setups)
    ground = (table["kind"] == "ground").to_numpy()
    setting = np.where(ground, price, 0.0)
    best = evaluation.net[:, evaluation.setup >= 0].max(axis=1, initial=-np.inf) * np.maximum(evaluation.ha, _LEAST_HA)
    setting[np.where(ground, best, -np.inf).argmax()] = 0.0
    change = change_price(context.catalog, context.options.tines)
    for _ in range(SETTING_ROUNDS):
        fitting = choose(_with(evaluation, setting), n_setups, context.prescription, change)
        due = _due(table, fitting.option, ground, price)
        if np.array_equal(due, setting):
            break
        setting = due
    settled = _with(evaluation, setting)
    fitting_h = change_hours(context.catalog, context.options.tines) * _changes(settled, fitting.option, change)
    money = change_cost(context.catalog, fitting_h)
    return Settled(
        evaluation=_with(settled, money, evaluation.setup == evaluation.setup[fitting.option][:, None]),
        chosen=fitting.option,
        fitted=fitting.setups,
        setting=setting,
        fitting_h=fitting_h,
        fitting=money,
    )


def _changes(evaluation: ZoneEvaluation, chosen: Ints, change: float) -> Floats:
    """Part of a change of the fittings that each zone bears, (n_zones,); those of one set-up add up to 1."""
    setup, ripped = evaluation.setup[chosen], chosen != LEAVE
    ha = evaluation.ha * ripped
    used = np.unique(setup[ripped])
    share = np.zeros(chosen.size)
    if used.size < 2:
        return share
    most = used[np.argmax([ha[setup == one].sum() for one in used])]
    else_net = evaluation.net[:, evaluation.setup == most].max(axis=1).clip(min=0.0)
    more = np.where(ripped, evaluation.net[np.arange(chosen.size), chosen] - else_net, 0.0).clip(min=0.0) * ha
    for one in used[used != most]:
        # under the rule `cover` a change need not pay, and ground stands in
        weight = np.where(setup == one, more if more[setup == one].sum() > change else ha, 0.0)
        share += weight / weight.sum()
    return share


def _with(evaluation: ZoneEvaluation, money: Floats, paying: Bools | None = None) -> ZoneEvaluation:
    """Evaluation in which every option but leaving, or of those the `paying` ones, pays `money` (n_zones,)."""
    ripping = evaluation.setup >= 0
    pays = ripping if paying is None else paying & ripping
    per_ha = (money / np.maximum(evaluation.ha, _LEAST_HA))[:, None] * pays
    return replace(evaluation, cost=evaluation.cost + per_ha, net=evaluation.net - per_ha)


def _due(table: gpd.GeoDataFrame, chosen: Ints, ground: Bools, price: float) -> Floats:
    """Money for setting each zone, (n_zones,): what is left would be one more to set."""
    ripped = chosen != LEAVE
    if not ripped.any():
        return np.where(ground & (np.cumsum(ground) > 1), price, 0.0)
    due = np.where(ground, price, 0.0)
    group = groups_side_by_side(table.geometry.to_numpy(), np.where(ripped, chosen, -1 - np.arange(len(chosen))))
    first = np.zeros(len(chosen), dtype=np.bool_)
    first[np.unique(group, return_index=True)[1]] = True
    due[ripped & ~first] = 0.0
    due[np.flatnonzero(ripped)[0]] = 0.0
    return due
