"""The set-up decision table read against what is known of each zone."""

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options.facts import zone_facts
from hardpan.options.ground import Ground
from hardpan.options.settings import PrescriptionSettings
from hardpan.records.catalog import Catalog
from hardpan.records.rules import Rule
from hardpan.records.season import SeasonSettings
from hardpan.records.survey import Survey


def judge(rules: Sequence[Rule], facts: pd.DataFrame) -> pd.DataFrame:
    """Give one row a zone and rule: `row` (label of `facts`), `rule` (position), `met` "yes", "no" or "not known"."""
    rows = [
        {"row": label, "rule": number, "met": _met(rule, known)}
        for label, known in zip(facts.index, as_records(facts), strict=True)
        for number, rule in enumerate(rules)
    ]
    return pd.DataFrame(rows, columns=["row", "rule", "met"])


def as_records(facts: pd.DataFrame) -> list[dict[str, object]]:
    """Give the facts row by row."""
    return [{str(name): value for name, value in row.items()} for row in facts.to_dict("records")]


def _met(rule: Rule, known: Mapping[str, object]) -> str:
    found = {name: known_value(known, name) for name in rule.when}
    if any(not low <= found[name] <= high for name, (low, high) in rule.when.items() if not np.isnan(found[name])):
        return "no"
    return "not known" if any(np.isnan(value) for value in found.values()) else "yes"


def rules_met(judged: pd.DataFrame, label: object) -> list[int]:
    """Give the positions of the rules met in one zone."""
    return judged.loc[(judged["row"] == label) & (judged["met"] == "yes"), "rule"].tolist()


def setup_gains(rules: Sequence[Rule], judged: pd.DataFrame, facts: pd.DataFrame, setups: Sequence[str]) -> Ints:
    """Give the rule that credits each set-up with most gain, (n_zones, n_setups): its position, -1 where none does."""
    best = np.full((len(facts), len(setups)), -1)
    for place, label in enumerate(facts.index):
        for column, name in enumerate(setups):
            met = [number for number in rules_met(judged, label) if name in rules[number].gain]
            best[place, column] = max(met, key=lambda number: rules[number].gain[name].value, default=-1)
    return best


def credit_spans(rules: Sequence[Rule], by: Ints, names: Sequence[str]) -> Floats:
    """Give the gain of each set-up over that of breaking the pan alone, (n_zones, n_setups + 1, 3); last is leaving.

    The three are low end, value and high end.
    """
    credit = np.ones((len(by), len(names) + 1, 3))
    for place, column in np.argwhere(by >= 0):
        gain = rules[by[place, column]].gain[names[column]]
        credit[place, column] = gain.span[0], gain.value, gain.span[1]
    return credit


def forbidden_setups(rules: Sequence[Rule], judged: pd.DataFrame, facts: pd.DataFrame, setups: Sequence[str]) -> Ints:
    """Give the rule that forbids each set-up, (n_zones, n_setups): its position, -1 where none does."""
    by = np.full((len(facts), len(setups)), -1)
    for place, label in enumerate(facts.index):
        for number in rules_met(judged, label):
            by[place, [name in rules[number].forbids for name in setups]] = number
    return by


def ceiling_rules(rules: Sequence[Rule], judged: pd.DataFrame, facts: pd.DataFrame) -> list[int]:
    """Give, zone by zone, the position of a rule met that keeps the depth above the clay, -1 where none does."""
    capping = [[n for n in rules_met(judged, label) if rules[n].depth_ceiling is not None] for label in facts.index]
    return [met[0] if met else -1 for met in capping]


def known_value(known: Mapping[str, object], name: str) -> float:
    """Give a fact as a number, NaN where it is not known."""
    return float(known.get(name, np.nan))  # type: ignore[arg-type]


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
