"""The set-up decision table read against what is known of each piece of ground."""

from collections.abc import Mapping, Sequence
from typing import TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.money import fixed_levels, value_at
from hardpan.options.ground import Ground
from hardpan.options.loosening import clay_ceiling_mm
from hardpan.options.moisture import moist_depth_mm
from hardpan.records.advice import Met
from hardpan.records.catalog import Catalog
from hardpan.records.decision import PrescriptionSettings, SeasonSettings
from hardpan.records.rules import Rule
from hardpan.records.survey import Survey

FloatArray = TypeVar("FloatArray", NDArray[np.float32], NDArray[np.float64])

MEASURED = (
    "ph_0_100",
    "ph_100_200",
    "ph_200_300",
    "repellence_med",
    "clay_depth_mm",
    "clay_pct",
    "esp_pct",
    "esp_depth_mm",
    "gravel_pct",
    "carbonate_pct",
)
"""Columns of the cores a rule may read."""


def core_facts(zones: gpd.GeoDataFrame, cores: gpd.GeoDataFrame) -> pd.DataFrame:
    """Mean of the cores by zone: of those inside it, else of those of its soil type, else NaN.

    Returns
    -------
    DataFrame
        Index as `zones`; columns `MEASURED`, `ph_subsoil` (the lower of 100-200 and 200-300 mm), `cores` (how
        many) and `cores_of` (their soil type; "" where they lie in the zone).
    """
    values = cores.reindex(columns=list(MEASURED)).astype(float)
    values["ph_subsoil"] = values[["ph_100_200", "ph_200_300"]].min(axis=1)
    rows = []
    for soil, shape in zip(zones["soil_type"], zones.geometry, strict=True):
        inside = cores.within(shape).to_numpy() if len(cores) else np.zeros(0, dtype=bool)
        alike = (cores["soil_type"] == soil).to_numpy() if len(cores) else inside
        use, cores_of = (inside, "") if inside.any() else (alike, soil)
        rows.append({**values[use].mean().to_dict(), "cores": int(use.sum()), "cores_of": cores_of})
    return pd.DataFrame(rows, index=zones.index)


def zone_facts(
    *,
    table: gpd.GeoDataFrame,
    survey: Survey,
    ground: Ground,
    zone_ha: Floats,
    catalog: Catalog,
    season: SeasonSettings,
) -> pd.DataFrame:
    """What the decision table reads, one row a zone of `table`; `zone_ha` (n_zones, n_nodes) are areas of nodes."""
    facts = core_facts(table, survey.cores)
    weights = shares_of(zone_ha)
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
    """Mean depth to clay by zone, mm, over the ground that has it in reach; infinite where that is under half."""
    near = np.isfinite(ground.clay_mm)
    share = weights @ near
    mean = weights @ np.where(near, ground.clay_mm, 0.0) / np.maximum(share, 1e-12)
    return np.where(share >= 0.5, mean, np.inf)


def shares_of(zone_ha: Floats) -> Floats:
    """Share of each zone a node stands for, (n_zones, n_nodes), from areas of the same shape."""
    return np.asarray(zone_ha / np.maximum(zone_ha.sum(axis=1, keepdims=True), 1e-12))


def judge(rules: Sequence[Rule], facts: pd.DataFrame) -> pd.DataFrame:
    """One row a zone and rule: `row` (label of `facts`), `rule` (position), `met` (a `Met`)."""
    rows = [
        {"row": label, "rule": number, "met": _met(rule, known)}
        for label, known in zip(facts.index, as_records(facts), strict=True)
        for number, rule in enumerate(rules)
    ]
    return pd.DataFrame(rows, columns=["row", "rule", "met"])


def as_records(facts: pd.DataFrame) -> list[dict[str, object]]:
    """The facts row by row."""
    return [{str(name): value for name, value in row.items()} for row in facts.to_dict("records")]


def known_value(known: Mapping[str, object], name: str) -> float:
    """A fact as a number, NaN where it is not known."""
    return float(known.get(name, np.nan))  # type: ignore[arg-type]


def _met(rule: Rule, known: Mapping[str, object]) -> Met:
    found = {name: known_value(known, name) for name in rule.when}
    if any(not low <= found[name] <= high for name, (low, high) in rule.when.items() if not np.isnan(found[name])):
        return Met.NO
    return Met.UNKNOWN if any(np.isnan(value) for value in found.values()) else Met.YES


def rules_met(judged: pd.DataFrame, label: object) -> list[int]:
    """Positions of the rules met in one zone."""
    return judged.loc[(judged["row"] == label) & (judged["met"] == Met.YES), "rule"].tolist()


def setup_gains(rules: Sequence[Rule], judged: pd.DataFrame, facts: pd.DataFrame, setups: Sequence[str]) -> Ints:
    """Position of the rule that credits each set-up with most gain, (n_zones, n_setups); -1 where none does."""
    best = np.full((len(facts), len(setups)), -1)
    for place, label in enumerate(facts.index):
        for column, name in enumerate(setups):
            met = [number for number in rules_met(judged, label) if name in rules[number].gain]
            best[place, column] = max(met, key=lambda number: rules[number].gain[name].value, default=-1)
    return best


def credit_spans(rules: Sequence[Rule], by: Ints, names: Sequence[str]) -> Floats:
    """Gain of each set-up over that of breaking the pan alone, (n_zones, n_setups + 1, 3); last is leaving.

    The three are low end, value and high end.
    """
    credit = np.ones((len(by), len(names) + 1, 3))
    for place, column in np.argwhere(by >= 0):
        gain = rules[by[place, column]].gain[names[column]]
        credit[place, column] = gain.span[0], gain.value, gain.span[1]
    return credit


def credit_draws(ends: Floats, n_draws: int) -> Floats:
    """Draws of gains over that of breaking the pan alone, (n_draws, n), mean their value; `ends` (n, 3) as above."""
    drawn = value_at(ends, fixed_levels("gain with a set-up", n_draws))
    return np.asarray(drawn + ends[:, 1] - drawn.mean(axis=0))


def is_repellent(rules: Sequence[Rule], judged: pd.DataFrame, label: object) -> bool:
    """Whether a rule on water repellence is met in the zone with that label."""
    return any("repellence_med" in rules[number].when for number in rules_met(judged, label))


def forbidden_setups(rules: Sequence[Rule], judged: pd.DataFrame, facts: pd.DataFrame, setups: Sequence[str]) -> Ints:
    """Position of the rule that forbids each set-up, (n_zones, n_setups); -1 where none does."""
    by = np.full((len(facts), len(setups)), -1)
    for place, label in enumerate(facts.index):
        for number in rules_met(judged, label):
            by[place, [name in rules[number].forbids for name in setups]] = number
    return by


def ceiling_rules(rules: Sequence[Rule], judged: pd.DataFrame, facts: pd.DataFrame) -> list[int]:
    """Position, zone by zone, of a rule met that keeps the depth above the clay; -1 where none does."""
    capping = [[n for n in rules_met(judged, label) if rules[n].depth_ceiling is not None] for label in facts.index]
    return [met[0] if met else -1 for met in capping]


def clay_or_cored_mm(clay_mm: FloatArray, cored_mm: Floats | float) -> FloatArray:
    """Depth to clay, mm, (..., n_nodes): the mapped one, or what cores found where the map knows no clay."""
    cored: FloatArray = np.asarray(cored_mm, dtype=clay_mm.dtype)
    return np.where(np.isinf(clay_mm), cored, clay_mm)


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
    rules, names, judged = catalog.rules, list(catalog.setups), judge(catalog.rules, facts)
    column, depth_mm = np.array([names.index(name) if name else -1 for name in table["setup"]]), table["depth_mm"]
    credit = credit_spans(rules, setup_gains(rules, judged, facts, names), names)[:, column, 1]
    barring = forbidden_setups(rules, judged, facts, names) >= 0
    barred = np.hstack([barring, np.zeros((len(facts), 1), dtype=bool)])[:, column][ground.soil]
    capped = np.array(ceiling_rules(rules, judged, facts)) >= 0
    cored_mm = facts["clay_depth_mm"].fillna(np.inf).to_numpy()[ground.soil]
    clay_mm = np.where(capped[ground.soil], clay_or_cored_mm(ground.shallow_clay_mm, cored_mm), np.inf)
    ceiling_mm = clay_ceiling_mm(clay_mm, prescription.clay_margin_mm)
    if prescription.only_moist:
        ceiling_mm = np.minimum(ceiling_mm, _moist_mm(judged, ground, catalog, season)[ground.soil])
    return credit, np.asarray(barred | (depth_mm.to_numpy(float) > ceiling_mm[:, None]))


def dry_below_mm(
    *, survey: Survey, ground: Ground, catalog: Catalog, prescription: PrescriptionSettings, season: SeasonSettings
) -> Floats:
    """Depth below which each soil type is worked dry, mm, (n_soils,).

    Infinite where it is not known how deep the soil is moist, and everywhere if no tine goes deeper than that.
    """
    if prescription.only_moist:
        return np.full(len(ground.soils), np.inf)
    return _moist_mm(judge(catalog.rules, _soil_facts(survey, ground, catalog, season)), ground, catalog, season)


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
            repellent=is_repellent(catalog.rules, judged, row),
        )[0]
        for row, soil in enumerate(ground.soils)
    ]
    return np.asarray(np.nan_to_num(np.array(depths), nan=np.inf))
