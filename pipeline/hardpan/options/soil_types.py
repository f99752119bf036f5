"""What the decision table and moisture make of each soil type, the economy of options on it, and what is at stake."""

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options.conditions import (
    after_costs,
    ceiling_rules,
    clay_or_cored_mm,
    forbidden_setups,
    is_repellent,
    judge,
    setup_credits,
    zone_facts,
)
from hardpan.options.economy import Economy, economy_of, loss_of
from hardpan.options.ground import Ground
from hardpan.options.loosening import clay_ceiling_mm, cumulated_excess, depth_grid_mm
from hardpan.records.advice import Known
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings, PrescriptionSettings, SeasonSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Draft, Options
from hardpan.records.quantity import Quantity
from hardpan.records.survey import Survey
from hardpan.records.weather import SoilWater

MOST_DRAWS = 100
"""Draws of the pan that slopes are worked out in: they are summed over many nodes, which evens them out."""


def economy_on(
    ground: Ground, table: pd.DataFrame, evidence: Evidence, catalog: Catalog, rates: Rates, *, draft: Draft,
    asked: DecisionSettings, tines: int,
) -> Economy:  # fmt: skip
    """Economy of all options of `table` on the ground of a paddock as it lies, worked with so many `tines`.

    How hard its pan is and how deep it is moist is in it, and the work after the pass that each soil type asks for.
    """
    facts = _soil_facts(evidence.survey, ground, catalog, asked.season)
    judged = judge(catalog.rules, facts, catalog.lab)
    # where no tine goes deeper than the soil is moist, none is worked dry
    only_moist = asked.prescription.only_moist
    return economy_of(
        table,
        ground,
        catalog,
        rates,
        loss=loss_of(ground, evidence.pan, catalog.response),
        draft=draft,
        moist_mm=np.full(len(facts), np.inf) if only_moist else _moist_mm(judged, ground, catalog, asked.season),
        after=after_costs(judged, facts, catalog.rules, rates),
        tines=tines,
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
    """What the decision table and moisture do to each option by soil type, before there are zones.

    Returns
    -------
    (n_soils, n_options) gain over that of breaking the pan alone; (n_nodes, n_options) whether a rule or dry soil
    forbids it.
    """
    facts = _soil_facts(survey, ground, catalog, season)
    names, judged = list(catalog.setups), judge(catalog.rules, facts, catalog.lab)
    column, depth_mm = np.array([names.index(name) if name else -1 for name in table["setup"]]), table["depth_mm"]
    credit = setup_credits(catalog, judged, facts)[1][:, column, 1]
    barring = forbidden_setups(catalog, judged, facts) >= 0
    barred = np.hstack([barring, np.zeros((len(facts), 1), dtype=bool)])[:, column][ground.soil]
    capped = ceiling_rules(catalog.rules, judged, facts)[1] > prescription.clay_risk
    cored_mm = facts["clay_depth_mm"].fillna(np.inf).to_numpy()[ground.soil]
    clay_mm = np.where(capped[ground.soil], clay_or_cored_mm(ground.shallow_clay_mm, cored_mm), np.inf)
    ceiling_mm = clay_ceiling_mm(clay_mm, prescription.clay_margin_mm)
    if prescription.only_moist:
        ceiling_mm = np.minimum(ceiling_mm, _moist_mm(judged, ground, catalog, season)[ground.soil])
    return credit, np.asarray(barred | (depth_mm.to_numpy(float) > ceiling_mm[:, None]))


def _soil_facts(survey: Survey, ground: Ground, catalog: Catalog, season: SeasonSettings) -> pd.DataFrame:
    """What the decision table reads of each soil type, rows as `Ground.soils`."""
    soils = gpd.GeoDataFrame(
        {"soil_type": list(ground.soil_names)}, geometry=[shapely.Polygon()] * len(ground.soils), crs=survey.crs
    )
    soil_ha = np.where(ground.soil == np.arange(len(soils))[:, None], ground.ha, 0.0)
    return zone_facts(table=soils, survey=survey, ground=ground, zone_ha=soil_ha, catalog=catalog, season=season)


def _moist_mm(judged: pd.DataFrame, ground: Ground, catalog: Catalog, season: SeasonSettings) -> Floats:
    """How deep each soil type is moist, mm, (n_soils,); infinite where that is not known."""
    depths = [
        moist_depth_mm(
            season,
            catalog.available_water[soil.water_texture],
            catalog.soil_water.get(name),
            repellent=is_repellent(catalog.rules, judged, row),
        )[0]
        for row, (name, soil) in enumerate(zip(ground.soil_names, ground.soils, strict=True))
    ]
    return np.asarray(np.nan_to_num(np.array(depths), nan=np.inf))


def moist_depth_mm(
    season: SeasonSettings, available_water: Quantity, water: SoilWater | None = None, *, repellent: bool
) -> tuple[float, Known]:
    """Depth to which the soil is moist, mm, NaN where that is not known, and how that is known or why not.

    What somebody dug or measured comes before the balance of the season's weather, `water`.
    """
    if season.moist_depth_mm is not None:
        return season.moist_depth_mm, Known.DUG
    if season.rain_since_dry_mm is None and water is None:
        return np.nan, Known.NOT_GIVEN
    if repellent:
        return np.nan, Known.REPELLENT
    if season.rain_since_dry_mm is None and water is not None:
        return water.moist_depth_mm, Known.OPEN if np.isnan(water.moist_depth_mm) else Known.WEATHER
    return wetted_depth_mm(season.rain_since_dry_mm or 0.0, available_water), Known.RAIN


def wetted_depth_mm(rain_mm: float, available_water: Quantity) -> float:
    """Depth that rain wets from the wilting point, mm: rain over plant-available water (mm/cm).

    Counts no evaporation, so it is optimistic (`agvic-raw`).
    """
    return rain_mm / available_water.value * 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stakes:
    """What is at stake at each node in the choice among the options whose set-ups are fitted, money per ha.

    Arrays (n_nodes, n_fitted) unless another shape is given; the first option is leaving.
    """

    option: Ints
    """(n_fitted,): place of each in `Options.table`."""
    gain: Floats
    """Expected gain, which has that of the set-up in it; 0 where the option is forbidden."""
    slope: Floats
    """Expected rise of the gain for each mm by which the bottom lies deeper."""
    cost: Floats
    """Expected cost."""
    chance: Floats
    """(n_nodes,) of a pan."""


def stakes_at(economy: Economy, options: Options) -> Stakes:
    """Stakes at every node, all but the pan as expected.

    Parameters
    ----------
    economy : Economy
        Of the fitted options alone.

    Notes
    -----
    Where the bottom B is about normal and its expectation moves by m, the expectation of a gain g(B) moves by m E[g'],
    and E[g'] = cov(g, B) / var(B) (Stein's lemma): the slope of the regression of gain on bottom over the draws. What
    goes along with a deeper bottom, a harder pan for one, is in it.
    """
    fitted = np.flatnonzero(options.fitted)
    ground, grid = _fewer_draws(economy.ground), depth_grid_mm(float(economy.section["depth_mm"].max(initial=0.0)))
    worth = economy.worth.mean(axis=0)
    gain, slope = np.zeros((2, ground.ha.size, fitted.size))
    for nodes, weights in replace(economy, ground=ground).weighted_groups(grid):
        used = weights.used.mean(axis=0)
        top, bottom, present = ground.top_mm[:, nodes].T, ground.bottom_mm[:, nodes].T, ground.present[:, nodes].T
        lost = np.where(present, economy.loss.relative(top, bottom, ground.peak_kpa[:, nodes].T), np.float32(0.0))
        excess = cumulated_excess(top, bottom, economy.loss.shape, grid)
        weight = _regression(np.where(present, bottom, np.nan))
        per_ha = worth[ground.soil[nodes], None] / len(ground.present)
        gain[nodes] = per_ha * (np.einsum("nk,nkg->ng", lost, excess).astype(float) @ used)
        slope[nodes] = per_ha * (np.einsum("nk,nkg->ng", lost * weight, excess).astype(float) @ used)
    net, cost = options.net[:, fitted], options.cost[:, fitted]
    credited = np.where(np.isfinite(net), net + cost, 0.0)
    scale = np.divide(credited, gain, out=np.zeros_like(gain), where=gain > 0)
    return Stakes(
        option=fitted, gain=credited, slope=slope * scale, cost=cost, chance=economy.ground.present.mean(axis=0)
    )


def _regression(bottom_mm: NDArray[np.float32]) -> NDArray[np.float32]:
    """Weights (n, k) that make of values at k draws their slope on the bottom, 0 at draws without a pan."""
    there = np.isfinite(bottom_mm)
    mean = np.nan_to_num(bottom_mm).sum(axis=1, keepdims=True) / np.maximum(there.sum(axis=1, keepdims=True), 1)
    off = np.where(there, bottom_mm - mean, 0.0)
    variance = (off**2).sum(axis=1, keepdims=True) / np.maximum(there.sum(axis=1, keepdims=True), 1)
    return np.asarray(np.divide(off, variance, out=np.zeros_like(off), where=variance > 0), dtype=np.float32)


def _fewer_draws(ground: Ground) -> Ground:
    """Ground with some of its draws, evenly taken, where they are many."""
    step = -(-len(ground.present) // MOST_DRAWS)
    return ground.in_draws(slice(None, None, step))
