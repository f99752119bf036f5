"""What setting a further zone and changing fittings cost, the choice that pays for it, like neighbours joined."""

from collections.abc import Iterator
from dataclasses import replace

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Bools, Floats, Ints, frozen
from hardpan.core.said import Said, depth
from hardpan.options import LEAVE, ZoneEvaluation, change_cost, change_hours, change_price, choose
from hardpan.prescription.context import SETTING_ROUNDS, Context, Settled
from hardpan.records.issues import Issue, Outcome
from hardpan.records.machines import Ripper
from hardpan.records.options import Options
from hardpan.records.zones import Zones
from hardpan.spatial.polygons import groups_side_by_side, hectares
from hardpan.spatial.runs import driven_columns, within_headland

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


def join_alike(zones: Zones, chosen: Ints, options: Options, ripper: Ripper) -> Zones:
    """Zones in which neighbours of one soil type and one chosen option are one, numbered anew; as given where none are.

    Soil types stay apart: speed, tines and what the crop gives back are theirs, at one depth as well.

    Parameters
    ----------
    chosen : (n_zones,)
        Option of each zone.
    """
    table = zones.table
    group = _groups(table, chosen)
    if group.max(initial=-1) + 1 == len(table):
        return zones
    first = np.unique(group, return_index=True)[1]
    number = np.append(0, group + 1)  # of each old number, 0 outside
    count = replace(zones.count, joined=zones.count.joined + len(table) - first.size)
    issues = tuple(
        replace(issue, zones=tuple(dict.fromkeys(number[list(issue.zones)].tolist()))) for issue in zones.issues
    )
    return replace(
        zones,
        labels=frozen(number[zones.labels]),
        table=_joined_table(zones, group, first, ripper),
        count=count,
        issues=(*issues, *_told(table, group, chosen, options)),
    )


def _groups(table: gpd.GeoDataFrame, chosen: Ints) -> Ints:
    """Place of each zone in the joined table, (n_zones,), in the order of its first zone."""
    soil = np.unique(table["soil_type"], return_inverse=True)[1]
    alone = -1 - np.arange(len(table))
    kind = np.where(table["kind"] == "ground", soil * (chosen.max(initial=0) + 1) + chosen, alone)
    group = groups_side_by_side(table.geometry.to_numpy(), kind)
    _, first, place = np.unique(group, return_index=True, return_inverse=True)
    return np.asarray(np.argsort(np.argsort(first))[place], dtype=np.int64)


def _joined_table(zones: Zones, group: Ints, first: Ints, ripper: Ripper) -> gpd.GeoDataFrame:
    """`Zones.table` of the groups; what was alone stays as it is."""
    shapes, table = zones.table.geometry.to_numpy(), zones.table.iloc[first].reset_index(drop=True)
    several = np.flatnonzero(np.bincount(group) > 1)
    joined = [shapely.coverage_union_all(shapes[group == one]) for one in several]
    geometry = table.geometry.to_numpy().copy()
    geometry[several] = joined
    inner = within_headland(shapely.coverage_union_all(shapes), zones.headland_m)
    area_ha = hectares(np.array(joined, dtype=object), table.crs)
    driven = driven_columns(
        joined, area_ha, inner, width_m=ripper.width_m, cell_m=zones.frame.cell_m, heading_deg=zones.heading_deg
    )
    table = table.assign(zone=np.arange(1, len(table) + 1)).set_geometry(geometry, crs=table.crs)
    table.loc[several, "area_ha"] = area_ha
    for name, values in driven.items():
        table.loc[several, name] = values
    return table


def _told(table: gpd.GeoDataFrame, group: Ints, chosen: Ints, options: Options) -> Iterator[Issue]:
    """What was joined."""
    for one in np.flatnonzero(np.bincount(group) > 1).tolist():
        members = np.flatnonzero(group == one)
        depth_mm = float(options.table["depth_mm"].iloc[chosen[members[0]]])
        name = table["soil_type"].iloc[members[0]]
        worked = "are left unripped" if depth_mm == 0 else "get one set-up and {depth}"
        what = Said("{n} zones of {soil} side by side " + worked, n=members.size, soil=name, depth=depth(depth_mm))
        yield Issue(
            outcome=Outcome.ACCEPT,
            stage="prescription",
            code="zones-joined",
            what=what,
            done="they are one zone",
            zones=(one + 1,),
        )
