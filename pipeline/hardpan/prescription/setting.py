"""What setting and checking a further zone costs, and the choice that pays for it."""

from dataclasses import replace

import geopandas as gpd
import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options import LEAVE, ZoneEvaluation, choose
from hardpan.prescription.context import SETTING_ROUNDS, Context
from hardpan.spatial.borders import groups_side_by_side

_LEAST_HA = 1e-9
"""Stands for the area of exclusions, which is not worked."""


def choose_and_set(context: Context, evaluation: ZoneEvaluation) -> tuple[ZoneEvaluation, Ints, Ints, Floats]:
    """Evaluation with the cost of setting zones, option of each zone, set-ups fitted, and money for setting each zone.

    Parameters
    ----------
    evaluation : ZoneEvaluation
        Without that cost.

    Returns
    -------
    evaluation : ZoneEvaluation
    chosen : (n_zones,)
    fitted : (n_fitted,)
    setting : (n_zones,)
        0 for exclusions, for one zone, which comes with the work, and for zones beside one of the same option.
    """
    table, price, n_setups = context.table, context.catalog.prices.extra_zone.value, len(context.catalog.setups)
    ground = (table["kind"] == "ground").to_numpy()
    setting = np.where(ground, price, 0.0)
    best = evaluation.net[:, evaluation.setup >= 0].max(axis=1, initial=-np.inf) * np.maximum(evaluation.ha, _LEAST_HA)
    setting[np.where(ground, best, -np.inf).argmax()] = 0.0
    for _ in range(SETTING_ROUNDS):
        chosen, fitted = choose(_with(evaluation, setting), n_setups, context.prescription)
        due = _due(table, chosen, ground, price)
        if np.array_equal(due, setting):
            break
        setting = due
    return _with(evaluation, setting), chosen, fitted, setting


def _with(evaluation: ZoneEvaluation, setting: Floats) -> ZoneEvaluation:
    """Evaluation in which every option but leaving pays for setting its zone."""
    per_ha = (setting / np.maximum(evaluation.ha, _LEAST_HA))[:, None] * (evaluation.setup >= 0)
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
