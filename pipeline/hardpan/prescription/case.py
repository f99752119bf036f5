"""One paddock's zones with all that is known of them before anything is chosen."""

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools, Floats
from hardpan.prescription.conditions import (
    ceiling_rules,
    core_facts,
    credit_spans,
    forbidden_setups,
    judge,
    rules_met,
    setup_gains,
)
from hardpan.prescription.economy import Economy, economy_of
from hardpan.prescription.effort import field_efficiency
from hardpan.prescription.ground import Ground, stand_on
from hardpan.prescription.moisture import moist_depth_mm
from hardpan.prescription.settings import PrescriptionSettings
from hardpan.records.catalog import Catalog, Quantity
from hardpan.records.ledger import Rates
from hardpan.records.pan import PanFeatures
from hardpan.records.plan import Options
from hardpan.records.season import SeasonSettings
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Survey
from hardpan.records.zones import Zones


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """What a decision rests on; arrays and tables follow the rows of `table`."""

    table: gpd.GeoDataFrame
    """`Zones.table`."""
    options: Options
    economy: Economy
    catalog: Catalog
    rates: Rates
    prescription: PrescriptionSettings
    season: SeasonSettings
    zone_ha: Floats
    """(n_zones, n_nodes): area of each node in each zone; rows add up to the zone, 0 for exclusions."""
    turning: Floats
    """(n_zones, n_options): time a hectare takes over that at the usual field efficiency."""
    facts: pd.DataFrame
    """What the decision table reads, one row a zone."""
    judged: pd.DataFrame
    """`conditions.judge` of the facts."""
    kept_m: Mapping[str, float]
    """Name of each exclusion to the widest strip kept around it."""

    def repellent(self, row: int) -> bool:
        """Whether a rule on water repellence is met in the zone of a row."""
        rules, met = self.catalog.rules, rules_met(self.judged, self.table.index[row])
        return any("repellence_med" in rules[number].when for number in met)

    def water(self, row: int) -> Quantity | None:
        """Plant-available water of the zone of a row, None for exclusions."""
        soil = self.catalog.soils.get(str(self.table["soil_type"].iloc[row]))
        return None if soil is None else self.catalog.available_water[soil.water_texture]

    @property
    def ground(self) -> Ground:
        """All ground."""
        return self.economy.ground

    @property
    def weights(self) -> Floats:
        """(n_zones, n_nodes): share of each zone a node stands for."""
        return _shares(self.zone_ha)


def open_case(
    *,
    zones: Zones,
    options: Options,
    surfaces: Surfaces,
    survey: Survey,
    pan: PanFeatures,
    catalog: Catalog,
    rates: Rates,
    prescription: PrescriptionSettings,
    season: SeasonSettings,
) -> Case:
    """Give all that is known of the zones."""
    ground = stand_on(surfaces, survey, catalog, prescription)
    zone_ha = share_nodes(zones, surfaces, ground.ha.size)
    facts = zone_facts(table=zones.table, survey=survey, ground=ground, zone_ha=zone_ha, catalog=catalog, season=season)
    economy = economy_of(
        options.table[["option", "setup", "depth_mm", "spacing_mm"]],
        ground,
        catalog,
        rates,
        pan.excess_shape,
        draft_factor=options.draft_factor,
        calibration=options.calibration,
        anchor=options.draft_anchor,
    )
    return Case(
        table=zones.table,
        options=options,
        economy=economy,
        catalog=catalog,
        rates=rates,
        prescription=prescription,
        season=season,
        zone_ha=zone_ha,
        turning=turning_time(economy, catalog, zones.table["length_m"].to_numpy(float)),
        facts=facts,
        judged=judge(catalog.rules, facts),
        kept_m=survey.paddock.exclusions.groupby("name")["buffer_m"].max().to_dict(),
    )


def soil_effects(
    *,
    table: pd.DataFrame,
    survey: Survey,
    ground: Ground,
    catalog: Catalog,
    prescription: PrescriptionSettings,
    season: SeasonSettings,
) -> tuple[Floats, Bools]:
    """Give what the decision table does to each option by soil type, before there are zones.

    Returns
    -------
    (n_soils, n_options) gain over that of breaking the pan alone; (n_nodes, n_options) whether a rule forbids it.
    """
    soils = gpd.GeoDataFrame(
        {"soil_type": list(ground.soil_names)}, geometry=[shapely.Polygon()] * len(ground.soils), crs=survey.crs
    )
    soil_ha = np.where(ground.soil == np.arange(len(soils))[:, None], ground.ha, 0.0)
    facts = zone_facts(table=soils, survey=survey, ground=ground, zone_ha=soil_ha, catalog=catalog, season=season)
    rules, names, judged = catalog.rules, list(catalog.setups), judge(catalog.rules, facts)
    column = np.array([names.index(name) if name else -1 for name in table["setup"]])
    credit = credit_spans(rules, setup_gains(rules, judged, facts, names), names)[:, column, 1]
    barring = forbidden_setups(rules, judged, facts, names) >= 0
    barred = np.hstack([barring, np.zeros((len(soils), 1), dtype=bool)])[:, column][ground.soil]
    capped = np.array(ceiling_rules(rules, judged, facts)) >= 0
    cored_mm = facts["clay_depth_mm"].fillna(np.inf).to_numpy()[ground.soil]
    clay_mm = np.where(np.isinf(ground.clay_mm), cored_mm, ground.clay_mm)
    ceiling = np.where(capped[ground.soil], np.maximum(clay_mm - prescription.clay_margin_mm, 0.0), np.inf)
    return credit, np.asarray(barred | (table["depth_mm"].to_numpy(float) > ceiling[:, None]))


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
    weights = _shares(zone_ha)
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


def _clay_mm(ground: Ground, weights: Floats) -> Floats:
    """Give the mean depth to clay by zone over the ground that has it in reach; infinite where that is under half."""
    near = np.isfinite(ground.clay_mm)
    share = weights @ near
    mean = weights @ np.where(near, ground.clay_mm, 0.0) / np.maximum(share, 1e-12)
    return np.where(share >= 0.5, mean, np.inf)


def moist_to_mm(case: Case) -> Floats:
    """Give how deep the soil of each zone is moist, (n_zones,); NaN where that is not known."""
    depths = np.full(len(case.table), np.nan)
    for row in range(len(depths)):
        if (water := case.water(row)) is not None:
            depths[row], _ = moist_depth_mm(case.season, water, repellent=case.repellent(row))
    return depths


def turning_time(economy: Economy, catalog: Catalog, run_m: Floats) -> Floats:
    """Give the time a hectare takes over that at the usual field efficiency, (n_zones, n_options), by length of run."""
    speed = economy.passes[economy.ground.soil_names[economy.ground.main_soil()]].speed_kmh
    speed = np.where(np.isnan(speed), catalog.tractor.min_speed.value, speed)
    # a zone without a run (an exclusion) takes the usual time
    run = np.where(run_m > 0, run_m, np.inf)[:, None]
    return catalog.effort.field_efficiency.value / field_efficiency(catalog.effort, run, speed)


def _shares(zone_ha: Floats) -> Floats:
    return np.asarray(zone_ha / np.maximum(zone_ha.sum(axis=1, keepdims=True), 1e-12))
