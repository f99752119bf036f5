"""Zones side by side that are worked alike, made one."""

from collections.abc import Iterator
from dataclasses import replace

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Ints, frozen
from hardpan.core.said import Said, depth
from hardpan.records.issues import Issue, Outcome
from hardpan.records.machines import Ripper
from hardpan.records.options import Options
from hardpan.records.zones import Zones
from hardpan.spatial.borders import groups_side_by_side
from hardpan.spatial.geodesy import hectares
from hardpan.spatial.runs import driven_columns, within_headland


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
