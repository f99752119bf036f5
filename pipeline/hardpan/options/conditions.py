"""The set-up decision table read against what is known of each piece of ground."""

from collections.abc import Mapping, Sequence
from typing import TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from hardpan.core.arrays import Floats, Ints
from hardpan.money import Draws, after_per_ha, lasting, season_weights
from hardpan.options.ground import Ground
from hardpan.records.advice import Met
from hardpan.records.catalog import Catalog
from hardpan.records.decision import SeasonSettings
from hardpan.records.ledger import Rates
from hardpan.records.rules import Lab, Rule, asked_after
from hardpan.records.soils import SoilType
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
    facts["pan_worth_t"] = [np.nan if soil is None else _pan_worth_t(soil, catalog, season) for soil in soils]
    return facts


def _pan_worth_t(soil: SoilType, catalog: Catalog, season: SeasonSettings) -> float:
    """Expected gain of the reference rip on a soil, all seasons counted and discounted, t/ha."""
    kept, seasons = lasting(soil, controlled_traffic=season.controlled_traffic)
    weights = season_weights(np.array([kept.value]), seasons.value, catalog.prices.discount_rate.value)
    return soil.first_year_gain.value * float(weights.sum())


def _clay_mm(ground: Ground, weights: Floats) -> Floats:
    """Mean depth to clay by zone, mm, over the ground that has it in reach; infinite where that is under half."""
    near = np.isfinite(ground.clay_mm)
    share = weights @ near
    mean = weights @ np.where(near, ground.clay_mm, 0.0) / np.maximum(share, 1e-12)
    return np.where(share >= 0.5, mean, np.inf)


def shares_of(zone_ha: Floats) -> Floats:
    """Share of each zone a node stands for, (n_zones, n_nodes), from areas of the same shape."""
    return np.asarray(zone_ha / np.maximum(zone_ha.sum(axis=1, keepdims=True), 1e-12))


def judge(rules: Sequence[Rule], facts: pd.DataFrame, lab: Lab | None = None) -> pd.DataFrame:
    """One row a zone and rule: `row` (label of `facts`), `rule` (position), `met` (a `Met`), `chance` that it holds.

    Whether a rule is met goes by the mean of the cores, the chance by how far that may be off (`lab`; None: not at
    all). A rule that is not met but may well be is near; the chance of one whose measurement is missing is 0.
    """
    rows = [
        {"row": label, "rule": number, **_judged(rule, known, lab)}
        for label, known in zip(facts.index, as_records(facts), strict=True)
        for number, rule in enumerate(rules)
    ]
    return pd.DataFrame(rows, columns=["row", "rule", "met", "chance"])


def _judged(rule: Rule, known: Mapping[str, object], lab: Lab | None) -> dict[str, object]:
    met = _met(rule, known)
    if met is Met.UNKNOWN:
        return {"met": met, "chance": 0.0}
    chance = float(np.prod([_chance(known, name, ends, lab) for name, ends in rule.when.items()]))
    if met is Met.NO and lab is not None and chance >= lab.chance["near"].value:
        met = Met.NEAR
    return {"met": met, "chance": chance}


def _chance(known: Mapping[str, object], name: str, ends: tuple[float, float], lab: Lab | None) -> float:
    """Chance that the true mean of the ground lies between two ends; 1 where it is not known, as nothing speaks."""
    value, (low, high) = known_value(known, name), ends
    if np.isnan(value):
        return 1.0
    if lab is None or name not in lab.error:
        return float(low <= value <= high)
    low = low if low > 0.0 else -np.inf  # nothing is measured below 0, so nothing lies beyond that end
    error = lab.error[name].value / np.sqrt(max(known_value(known, "cores"), 1.0))
    return float(ndtr((high - value) / error) - ndtr((low - value) / error))


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


def after_costs(judged: pd.DataFrame, facts: pd.DataFrame, rules: Sequence[Rule], rates: Rates) -> Floats:
    """Money per ha for the work after the pass that the rules met ask for, (n_zones, n_draws)."""
    asked = [asked_after(rules[number] for number in rules_met(judged, label)) for label in facts.index]
    return np.stack([after_per_ha(works, rates) for works in asked])


def chances(judged: pd.DataFrame, facts: pd.DataFrame, n_rules: int) -> Floats:
    """Chance that each rule holds in each zone, (n_zones, n_rules)."""
    return judged["chance"].to_numpy(float).reshape(len(facts), n_rules)


def setup_credits(catalog: Catalog, judged: pd.DataFrame, facts: pd.DataFrame) -> tuple[Ints, Floats]:
    """Rule that credits each set-up with most gain, and that gain over that of breaking the pan alone.

    A gain counts by the chance that its rule holds. One that outlasts the loosening counts as what all its seasons
    bring over what breaking the pan brings on the soil.

    Returns
    -------
    (n_zones, n_setups) positions of rules, -1 where none credits; (n_zones, n_setups + 1, 3) low end, value and high
    end, the last set-up leaving.
    """
    names, holds = list(catalog.setups), chances(judged, facts, len(catalog.rules))
    by, credit = np.full((len(facts), len(names)), -1), np.ones((len(facts), len(names) + 1, 3))
    for place, worth_t in enumerate(facts["pan_worth_t"].to_numpy(float)):
        for column, name in enumerate(names):
            for number, rule in enumerate(catalog.rules):
                ends = 1.0 + holds[place, number] * (_gain_ends(rule, name, worth_t, catalog) - 1.0)
                if ends[1] > credit[place, column, 1]:
                    by[place, column], credit[place, column] = number, ends
    return by, credit


def _gain_ends(rule: Rule, setup: str, worth_t: float, catalog: Catalog) -> Floats:
    """Gain with a set-up where a rule holds, over that of breaking the pan alone: low end, value, high end."""
    ends = np.array(rule.gain[setup].ends if setup in rule.gain else (1.0, 1.0, 1.0))
    if setup in rule.lasting and worth_t > 0.0:
        lasts = rule.lasting[setup]
        weight = season_weights(np.ones(1), lasts.seasons.value, catalog.prices.discount_rate.value).sum()
        ends = ends + np.array(lasts.gain.ends) * weight / worth_t
    return np.asarray(ends)


def credit_draws(ends: Floats, n_draws: int) -> Floats:
    """Draws of gains over that of breaking the pan alone, (n_draws, n), mean their value; `ends` (n, 3) as above."""
    drawn = Draws(n_draws=n_draws, seed=None).between("gain with a set-up", ends)
    return np.asarray(drawn + ends[:, 1] - drawn.mean(axis=0))


def is_repellent(rules: Sequence[Rule], judged: pd.DataFrame, label: object) -> bool:
    """Whether a rule on water repellence is met in the zone with that label."""
    return any("repellence_med" in rules[number].when for number in rules_met(judged, label))


def forbidden_setups(catalog: Catalog, judged: pd.DataFrame, facts: pd.DataFrame) -> Ints:
    """Position of the rule that forbids each set-up, (n_zones, n_setups); -1 where none does.

    What harms is forbidden from a stated chance of its rule on, not from an even one.
    """
    names, holds = list(catalog.setups), chances(judged, facts, len(catalog.rules))
    by = np.full((len(facts), len(names)), -1)
    for place, number in np.argwhere(holds >= catalog.lab.chance["forbids"].value):
        by[place, [name in catalog.rules[number].forbids for name in names]] = number
    return by


def ceiling_rules(rules: Sequence[Rule], judged: pd.DataFrame, facts: pd.DataFrame) -> tuple[list[int], Floats]:
    """Rule that most likely keeps the depth above the clay in each zone, -1 where none does, and its chance."""
    caps = np.array([rule.depth_ceiling is not None for rule in rules], dtype=bool)
    holds = np.where(caps, chances(judged, facts, len(rules)), 0.0)
    chance = holds.max(axis=1, initial=0.0)
    return np.where(chance > 0.0, holds.argmax(axis=1) if len(rules) else -1, -1).tolist(), chance


def clay_or_cored_mm(clay_mm: FloatArray, cored_mm: Floats | float) -> FloatArray:
    """Depth to clay, mm, (..., n_nodes): the mapped one, or what cores found where the map knows no clay."""
    cored: FloatArray = np.asarray(cored_mm, dtype=clay_mm.dtype)
    return np.where(np.isinf(clay_mm), cored, clay_mm)
