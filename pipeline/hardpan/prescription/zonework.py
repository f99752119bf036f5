"""One zone after another: what is known of it, what it could do, and what comes of the choice."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats, Ints
from hardpan.prescription.choice import Ballot
from hardpan.prescription.conditions import ceiling_rules, core_facts, forbidden_setups, setup_gains
from hardpan.prescription.economy import Economy
from hardpan.prescription.effort import LIMITS, field_efficiency
from hardpan.prescription.ground import Ground
from hardpan.prescription.returns import credit_draws, reach_probability
from hardpan.prescription.settings import PrescriptionSettings
from hardpan.records.catalog import Catalog, Rule
from hardpan.records.plan import Options
from hardpan.records.season import SeasonSettings
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Survey
from hardpan.records.zones import Zones

MACHINE_LIMIT = "beyond a limit of depth or machine"
"""Why an option is forbidden where soil or machine forbid it on more than the slack of the zone."""


def share_nodes(zones: Zones, surfaces: Surfaces, n_nodes: int) -> Floats:
    """Give the area of each node in each zone, ha, (n_zones, n_nodes): rows add up to the zone, 0 for exclusions."""
    table = zones.table
    numbers = table["zone"].to_numpy()
    used = (zones.labels > 0) & (surfaces.node_of_cell >= 0)
    cells = np.zeros((len(table), n_nodes))
    np.add.at(cells, (np.searchsorted(numbers, zones.labels[used]), surfaces.node_of_cell[used]), 1.0)
    area = np.where(table["kind"] == "ground", table["area_ha"], 0.0)
    return np.asarray(cells * (area / np.maximum(cells.sum(axis=1), 1.0))[:, None])


def zone_facts(
    *,
    table: gpd.GeoDataFrame,
    survey: Survey,
    ground: Ground,
    zone_ha: Floats,
    catalog: Catalog,
    season: SeasonSettings,
) -> pd.DataFrame:
    """Give what the decision table reads, one row a zone of `table`."""
    facts = core_facts(table, survey.cores)
    weights = zone_ha / np.maximum(zone_ha.sum(axis=1, keepdims=True), 1e-12)
    soils = [catalog.soils.get(name) for name in table["soil_type"]]
    clay = _clay_mm(ground, weights)
    none_known = [soil is not None and soil.clay_depth is None for soil in soils]
    mapped = np.where(np.isinf(clay) & ~np.array(none_known), np.nan, clay)
    facts["clay_depth_mm"] = np.where(
        np.isfinite(mapped), mapped, facts["clay_depth_mm"].fillna(pd.Series(mapped, facts.index))
    )
    facts["hostile_subsoil"] = [float(soil is not None and soil.hostile_subsoil) for soil in soils]
    facts["fine_texture"] = [float(soil is not None and soil.texture == "fine") for soil in soils]
    facts["pan_probability"] = weights @ ground.present.mean(axis=0)
    facts["sowing_depth_mm"] = 0.0 if catalog.crop.needs_firm_seedbed else catalog.crop.sowing_depth.value
    facts["cover_pct"] = np.nan if season.cover_pct is None else season.cover_pct
    return facts


def _credit(rules: Sequence[Rule], by: Ints, names: Sequence[str]) -> Floats:
    """Give the gain of each set-up over that of breaking the pan alone, (n_zones, n_setups + 1, 3); last is leaving.

    The three are low end, value and high end.
    """
    credit = np.ones((len(by), len(names) + 1, 3))
    for place, column in np.argwhere(by >= 0):
        gain = rules[by[place, column]].gain[names[column]]
        credit[place, column] = gain.span[0], gain.value, gain.span[1]
    return credit


def _clay_mm(ground: Ground, weights: Floats) -> Floats:
    """Give the mean depth to clay by zone over the ground that has it in reach; infinite where that is under half."""
    near = np.isfinite(ground.clay_mm)
    share = weights @ near
    mean = weights @ np.where(near, ground.clay_mm, 0.0) / np.maximum(share, 1e-12)
    return np.where(share >= 0.5, mean, np.inf)


def hold_ballot(
    *,
    options: Options,
    economy: Economy,
    turning: Floats,
    zone_ha: Floats,
    table: gpd.GeoDataFrame,
    catalog: Catalog,
    prescription: PrescriptionSettings,
    facts: pd.DataFrame,
    judged: pd.DataFrame,
) -> Ballot:
    """Give what each zone could do: money, cover, what the decision table credits and forbids.

    `turning` is the time a hectare takes over the usual, (n_zones, n_options).
    """
    ground = economy.ground
    names, rules = list(catalog.setups), catalog.rules
    setup = np.array([names.index(name) if name else -1 for name in options.table["setup"]], dtype=np.int64)
    depth = options.table["depth_mm"].to_numpy(float)
    weights = zone_ha / np.maximum(zone_ha.sum(axis=1, keepdims=True), 1e-12)
    credit = _credit(rules, setup_gains(rules, judged, facts, names), names)[:, setup]
    allowed = np.isfinite(options.net)
    gain = credit[..., 1] * (weights @ np.where(allowed, options.net + options.cost, 0.0))
    cost = zone_costs(economy, weights, turning)
    why_not = np.where(weights @ ~allowed > prescription.limit_slack + 1e-12, MACHINE_LIMIT, "").astype(object)
    known_clay = facts["clay_depth_mm"].fillna(np.inf).to_numpy()
    for place, number in enumerate(ceiling_rules(rules, judged, facts)):
        if number >= 0:
            # where the map knows no clay, what the cores of the zone found
            clay_mm = np.where(np.isinf(ground.clay_mm), known_clay[place], ground.clay_mm)
            into = depth > np.maximum(clay_mm - prescription.clay_margin_mm, 0.0)[:, None]
            beyond = weights[place] @ into > prescription.limit_slack + 1e-12
            why_not[place, beyond] = f"{rules[number].constraint} forbids going deeper"
    barring = forbidden_setups(rules, judged, facts, names)
    for place, name in enumerate(table["soil_type"]):
        soil = catalog.soils.get(name)
        if soil is not None and not soil.responds:
            why_not[place, depth > 0] = f"{name} is not expected to respond"
        for code in np.flatnonzero(barring[place] >= 0):
            why_not[place, setup == code] = f"{rules[barring[place, code]].constraint} forbids"
    net = np.where(why_not == "", gain - cost, -np.inf)
    margin = np.minimum(ground.bottom_mm + np.float32(prescription.below_pan_mm), ground.clay_mm.astype(np.float32))
    end = np.where(ground.present, margin, np.float32(-np.inf))
    often = weights * ground.present.mean(axis=0)
    return Ballot(
        net=net,
        gain=gain,
        cost=cost,
        loosened=often @ options.loosened / np.maximum(often.sum(axis=1, keepdims=True), 1e-12),
        breach=weights @ options.breach,
        why_not=why_not,
        covered=weights @ reach_probability(end, depth),
        ha=zone_ha.sum(axis=1),
        depth_mm=depth,
        setup=setup,
        credit=credit,
    )


def turning_time(economy: Economy, catalog: Catalog, run_m: Floats) -> Floats:
    """Give the time a hectare takes over that at the usual field efficiency, (n_zones, n_options), by length of run."""
    speed = economy.passes[economy.ground.textures[economy.ground.main_soil()]].speed_kmh
    speed = np.where(np.isnan(speed), catalog.tractor.min_speed.value, speed)
    return catalog.effort.field_efficiency.value / field_efficiency(catalog.effort, run_m[:, None], speed)


def zone_costs(economy: Economy, weights: Floats, turning: Floats) -> Floats:
    """Give the expected cost per ha of each option in each zone, (n_zones, n_options)."""
    soils = np.arange(len(economy.ground.soils))
    share = weights @ (economy.ground.soil[:, None] == soils)
    return np.stack([part @ economy.cost(time).mean(axis=1) for part, time in zip(share, turning, strict=True)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zonework:
    """What comes of the chosen option and its runner-up in one zone."""

    machine: dict[str, object]
    """Row of `Plan.machine`."""
    speed_kmh: float
    tines: int
    passes: int
    held_by: str
    """What the machine was short of, or "the speed window"."""
    returns: Floats
    """(n_draws, 2): money per zone of the chosen option and the runner-up."""
    hours: Floats
    """(n_draws,): machine hours in the zone with the chosen option."""
    fuel_l: Floats
    """(n_draws,): the same of fuel, L."""
    loosened: float
    breach: float
    bottom_mm: Floats
    """(n_draws,): mean bottom of the zone's pan in each draw; NaN where it has none."""
    bottom_range_mm: tuple[float, float, float]
    """Mean, 5 and 95 % of the bottom over draws and ground; NaN where there never is a pan."""


def work_zone(
    *,
    zone: int,
    soil: str,
    turning: Floats,
    pair: Ints,
    economy: Economy,
    options: Options,
    credit: Floats,
    zone_ha: Floats,
    catalog: Catalog,
) -> Zonework:
    """Give what comes of the options `pair` (chosen, runner-up) in a zone with `zone_ha` of each node.

    `turning` and `credit` (low end, value, high end) are those of the two options.
    """
    nodes = np.flatnonzero(zone_ha > 0)
    part = economy.narrow(pair, nodes, zone_ha[nodes])
    weights = zone_ha[nodes] / max(zone_ha.sum(), 1e-12)
    texture = catalog.soils[soil].texture if soil in catalog.soils else economy.ground.textures[0]
    passes = part.passes[texture]
    hours, litres = passes.at(np.ones(pair.size), turning)
    drawn_hours, drawn_litres = part.work(turning)
    everywhere = np.ones((nodes.size, pair.size), dtype=bool)
    present = part.ground.present
    often = present.mean(axis=0) * weights
    totals = part.totals(everywhere)
    tines, held_by = int(passes.tines[0]), [*LIMITS, "the speed window"][passes.limited_by[0]]
    drawn = {name: float(getattr(passes, name)[0]) for name in ("draft_kn", "drawbar_kw", "engine_kw", "slip")}
    return Zonework(
        machine={
            "zone": zone,
            "tines": tines,
            "width_m": tines * catalog.ripper.spacing.value / 1000.0,
            **drawn,
            "fuel_l_per_ha": float(litres[0]),
            "hours_per_ha": float(hours[0]),
            "field_efficiency": float(catalog.effort.field_efficiency.value / turning[0]),
            "critical_depth_mm": float(part.section["critical_mm"][0]),
            "limited_by": held_by,
        },
        speed_kmh=float(passes.speed_kmh[0]),
        tines=tines,
        passes=int(passes.passes[0]),
        held_by=held_by,
        returns=totals.summed * credit_draws(credit, len(totals.summed)) - part.summed(part.cost(turning), everywhere),
        hours=part.summed(drawn_hours, everywhere)[:, 0],
        fuel_l=part.summed(drawn_litres, everywhere)[:, 0],
        loosened=float(often @ totals.loosened[:, 0] / max(often.sum(), 1e-12)),
        breach=float(weights @ options.breach[nodes, pair[0]]),
        bottom_mm=_mean_bottom(part.ground, weights),
        bottom_range_mm=_bottom_range(part.ground, weights),
    )


def _mean_bottom(ground: Ground, weights: Floats) -> Floats:
    share = ground.present @ weights
    total = np.where(ground.present, ground.bottom_mm, 0.0) @ weights
    return np.where(share > 0, total / np.where(share > 0, share, 1.0), np.nan)


def _bottom_range(ground: Ground, weights: Floats) -> tuple[float, float, float]:
    bottom = ground.bottom_mm[ground.present].astype(float)
    if not bottom.size:
        return (np.nan, np.nan, np.nan)
    weight = np.broadcast_to(weights, ground.present.shape)[ground.present]
    order = np.argsort(bottom, kind="stable")
    at = np.cumsum(weight[order]) / weight.sum()
    low, high = bottom[order][np.searchsorted(at, [0.05, 0.95]).clip(max=bottom.size - 1)]
    return float(bottom @ weight / weight.sum()), float(low), float(high)
