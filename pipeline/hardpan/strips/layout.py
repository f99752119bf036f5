"""Where pairs of strips have room in a zone, which of the places are taken, and zones and plan with them cut out."""

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio.features
import shapely

from hardpan.core.arrays import Floats, Ints, frozen
from hardpan.records.advice import Known, Verdict
from hardpan.records.issues import Issues
from hardpan.records.plan import Plan, Tried
from hardpan.records.reasons import CheckStrip, Reason
from hardpan.records.zones import Zones

ORDERS = 30
"""Random orders in which places are tried; the first that lays all pairs asked for is taken."""
ALONG = 4
"""Places are tried at so many steps along one length of a strip."""
SHORTER = (1.0, 0.75, 0.5, 0.25)
"""Shares of the wanted length that are tried, longest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """What a strip measures, and the step from one possible place to the next."""

    width_m: float
    length_m: float
    pass_m: float
    """Width of one pass of the ripper: strips of one zone lie whole passes apart."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair:
    """Two strips side by side."""

    unripped: shapely.Polygon
    ripped: shapely.Polygon
    length_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """How many pairs, and what they may take."""

    pairs: int
    least_m: float
    """Shorter strips are not laid."""
    most_m2: float
    """Ground that may be left."""


def lay_pairs(
    room: shapely.Geometry, size: Size, heading_deg: float, wanted: Wanted, rng: np.random.Generator
) -> tuple[Pair, ...]:
    """Pairs that lie in `room` along a heading at random, as long as lets most of those wanted in.

    The pairs keep a strip's width from one another, and which of the two strips is left is random.
    """
    best: tuple[Pair, ...] = ()
    turned = _turned(room, heading_deg)
    for length_m in (share * size.length_m for share in SHORTER if share * size.length_m >= wanted.least_m):
        most = min(wanted.pairs, int(wanted.most_m2 / (size.width_m * length_m)))
        corners = _places(turned, size, length_m, rng)
        chosen = _chosen(corners, size, length_m, most, rng)
        if len(chosen) > len(best):
            best = tuple(_pair(corner, size.width_m, length_m, heading_deg, rng) for corner in corners[chosen])
        if len(best) >= wanted.pairs:
            break
    return best


def _places(room: shapely.Geometry, size: Size, length_m: float, rng: np.random.Generator) -> Floats:
    """Lower left corners of all pairs that lie in `room`, across and along the heading, (n, 2)."""
    if room.is_empty:
        return np.empty((0, 2))
    left, low, right, high = room.bounds
    across = _starts(left, right - 2.0 * size.width_m, size.pass_m, rng)
    along = _starts(low, high - length_m, length_m / ALONG, rng)
    corners = np.stack([one.ravel() for one in np.meshgrid(across, along)], axis=1)
    if not len(corners):
        return corners
    shapely.prepare(room)
    x, y = corners.T
    inside = shapely.contains_properly(room, shapely.box(x, y, x + 2.0 * size.width_m, y + length_m))
    return np.asarray(corners[inside])


def _starts(first_m: float, last_m: float, step_m: float, rng: np.random.Generator) -> Floats:
    """Starts from `first_m` to `last_m` in steps, shifted at random."""
    shift_m = rng.uniform(0.0, min(step_m, max(last_m - first_m, 0.0)))
    return np.arange(first_m + shift_m, last_m, step_m)


def _chosen(corners: Floats, size: Size, length_m: float, asked: int, rng: np.random.Generator) -> Ints:
    """Rows of places that keep clear of one another, in random order, at most `asked`."""
    best = np.empty(0, dtype=np.int64)
    clear = np.array([3.0 * size.width_m, length_m + size.width_m]) - 1e-6
    for _ in range(ORDERS):
        taken: list[int] = []
        free = np.ones(len(corners), dtype=bool)
        for place in rng.permutation(len(corners)):
            if free[place] and len(taken) < asked:
                taken.append(int(place))
                free &= (np.abs(corners - corners[place]) >= clear).any(axis=1)
        if len(taken) > len(best):
            best = np.array(taken, dtype=np.int64)
        if len(best) >= asked or not len(corners):
            break
    return best


def _pair(corner: Floats, width_m: float, length_m: float, heading_deg: float, rng: np.random.Generator) -> Pair:
    x, y = corner
    strips = shapely.box([x, x + width_m], y, [x + width_m, x + 2.0 * width_m], y + length_m)
    left, right = (_turned(strip, -heading_deg) for strip in strips)
    first = bool(rng.integers(2))
    return Pair(unripped=left if first else right, ripped=right if first else left, length_m=length_m)


def _turned(shape: shapely.Geometry, heading_deg: float) -> shapely.Geometry:
    """Shape turned about the origin so that a heading, clockwise from grid north, points to the north."""
    way = np.deg2rad(heading_deg)
    turn = np.array([[np.cos(way), -np.sin(way)], [np.sin(way), np.cos(way)]])
    return shapely.transform(shape, lambda points: points @ turn.T)


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
