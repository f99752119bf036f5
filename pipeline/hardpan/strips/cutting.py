"""Zones and plan with strips cut out of them."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio.features
import shapely

from hardpan.core.arrays import Floats, Ints, frozen
from hardpan.records.advice import Known, Verdict
from hardpan.records.issues import Issues
from hardpan.records.plan import Plan
from hardpan.records.reasons import CheckStrip, Reason
from hardpan.records.ways import Tried
from hardpan.records.zones import Zones


def cut_zones(zones: Zones, left: gpd.GeoDataFrame) -> Zones:
    """Zones less the strips that lie in them, and the strips after them."""
    table = zones.table.copy()
    for zone, strips in left.groupby("zone"):
        row = table.index[table["zone"] == zone][0]
        cut = shapely.difference(table.geometry[row], shapely.union_all(strips.geometry.to_numpy()))
        table.loc[[row], "geometry"] = gpd.GeoSeries([cut], index=[row], crs=table.crs)
        table.loc[row, "area_ha"] = float(table["area_ha"][row]) - float(strips["area_ha"].sum())
    rows = left.assign(zone=left["plan_zone"], kind="strip", headland_ha=0.0)[list(table.columns)]
    table = gpd.GeoDataFrame(pd.concat([table, rows], ignore_index=True), geometry="geometry", crs=table.crs)
    return replace(zones, table=table, labels=_labels(zones, rows))


def _labels(zones: Zones, rows: gpd.GeoDataFrame) -> Ints:
    """Zone of each cell's centre, those of the strips among them."""
    labels = zones.labels.astype(np.int32)
    rasterio.features.rasterize(zip(rows.geometry, rows["zone"], strict=True), out=labels, transform=zones.frame.affine)
    return frozen(np.where(zones.labels > 0, labels.astype(np.int64), 0))


def cut_plan(plan: Plan, zones: Zones, left: gpd.GeoDataFrame, issues: Issues) -> Plan:
    """Plan of the zones less their strips, and the strips as rows of their own."""
    table, before = zones.table.set_index("zone"), plan.zones
    area_ha = table["area_ha"].loc[before["zone"]].to_numpy()
    kept = area_ha / before["area_ha"].to_numpy()
    own = before.assign(area_ha=area_ha).set_geometry(
        gpd.GeoSeries(table.geometry.loc[before["zone"]].to_numpy(), index=before.index, crs=before.crs)
    )
    rows = pd.DataFrame(0.0, index=range(len(left)), columns=list(before.columns)).assign(
        zone=left["plan_zone"].to_numpy(), kind="strip", soil_type=left["soil_type"].to_numpy(),
        area_ha=left["area_ha"].to_numpy(), depth_mm=0, setup="", passes=0, geometry=left.geometry.to_numpy(),
    )  # fmt: skip
    both = gpd.GeoDataFrame(pd.concat([own, rows], ignore_index=True), geometry="geometry", crs=before.crs)
    moisture = pd.DataFrame(
        {"zone": left["plan_zone"], "depth_mm": 0, "verdict": Verdict.NOT_RIPPED, "known": Known.NOT_RIPPED}
    )
    reasons = tuple(
        Reason(zone=row.plan_zone, why=CheckStrip(strip=row.strip, pair=row.pair, beside=row.zone))
        for row in left.itertuples()
    )
    return replace(
        plan,
        zones=both[list(before.columns)],
        reasons=plan.reasons + reasons,
        moisture=pd.concat([plan.moisture, moisture], ignore_index=True),
        returns=_cut_draws(plan.returns, kept, len(left)),
        setting=np.concatenate([plan.setting * kept, np.zeros(len(left))]),
        fitting_h=np.concatenate([plan.fitting_h * kept, np.zeros(len(left))]),
        runner_up_returns=_cut_draws(plan.runner_up_returns, kept, len(left)),
        hours=_cut_draws(plan.hours, kept, len(left)),
        fuel_l=_cut_draws(plan.fuel_l, kept, len(left)),
        ways=tuple(_cut_way(tried, kept, len(left)) for tried in plan.ways),
        issues=(*plan.issues, *issues),
    )


def _cut_way(tried: Tried, kept: Floats, n_strips: int) -> Tried:
    """What another way returns on the ground that is kept: strips are left whoever does the work."""
    return replace(
        tried,
        best=(*tried.best, *[None] * n_strips),
        ripped_ha=np.concatenate([tried.ripped_ha * kept, np.zeros(n_strips)]),
        cost=_cut_draws(tried.cost, kept, n_strips),
        net=_cut_draws(tried.net, kept, n_strips),
        hours=_cut_draws(tried.hours, kept, n_strips),
        fuel_l=_cut_draws(tried.fuel_l, kept, n_strips),
    )


def _cut_draws(draws: Floats, kept: Floats, n_strips: int) -> Floats:
    """Draws by zone (n_zones, n_draws) on the share of each zone that is kept, then nothing in each strip."""
    return frozen(np.concatenate([draws * kept[:, None], np.zeros((n_strips, draws.shape[1]))]))
