"""The plan's tables of moisture, of candidates, of the decision table's rules, and of lime and gypsum."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools
from hardpan.options import MEASURED, ZoneEvaluation, as_records, known_value, rules_met
from hardpan.prescription.amendments import MISSING, spreading_text
from hardpan.prescription.context import Context
from hardpan.prescription.moisture import moisture_window
from hardpan.records.rules import Rule

WORDS = {
    "ph_0_100": ("pH in 0-100 mm", ""),
    "ph_100_200": ("pH in 100-200 mm", ""),
    "ph_200_300": ("pH in 200-300 mm", ""),
    "ph_subsoil": ("lowest pH in 100-300 mm", ""),
    "repellence_med": ("MED", " mol/L"),
    "clay_depth_mm": ("depth to clay", " mm"),
    "clay_pct": ("clay", " %"),
    "esp_pct": ("exchangeable sodium", " %"),
    "esp_depth_mm": ("depth of the sodium sample", " mm"),
    "gravel_pct": ("gravel", " %"),
    "carbonate_pct": ("carbonate", " %"),
    "sowing_depth_mm": ("sowing depth", " mm"),
    "cover_pct": ("ground cover", " %"),
    "pan_probability": ("chance of a pan", "share"),
}
"""Measurements in words with their unit; a fact that is left out speaks for itself in the rule."""

GIVEN = "yes: the soil type has a rate"
"""Why an amount of lime or gypsum is told that no rule asks for."""


def moisture_table(context: Context, plan: gpd.GeoDataFrame) -> pd.DataFrame:
    """Give the verdict on moisture, one row a zone, columns of `Plan.moisture`."""
    rows = []
    for row, zone in enumerate(plan.itertuples()):
        window = moisture_window(zone.depth_mm, context.season, context.water(row), repellent=context.repellent(row))
        rows.append({"zone": zone.zone, **asdict(window)})
    return pd.DataFrame(rows)


def candidate_table(context: Context, evaluation: ZoneEvaluation) -> pd.DataFrame:
    """Give one row a zone and option, columns of `Plan.candidates`."""
    table = context.options.table
    n_zones, n_options = evaluation.net.shape
    allowed = np.isfinite(evaluation.net)
    return pd.DataFrame(
        {
            "zone": np.repeat(context.table["zone"].to_numpy(), n_options),
            "option": np.tile(table["option"].to_numpy(), n_zones),
            "setup": np.tile(table["setup"].to_numpy(), n_zones),
            "depth_mm": np.tile(table["depth_mm"].to_numpy(), n_zones),
            "net_per_ha": np.where(allowed, evaluation.net, np.nan).ravel(),
            "cost_per_ha": evaluation.cost.ravel(),
            "loosened_share": evaluation.loosened.ravel(),
            "breach_probability": evaluation.breach.ravel(),
            "allowed": allowed.ravel(),
            "why_not": np.asarray(evaluation.why_not).ravel(),
        }
    )


def spreading_texts(context: Context, ripped: Bools) -> dict[object, dict[str, tuple[str, bool]]]:
    """Give what is said of lime and gypsum in each zone of ground, and whether an amount is given."""
    table = context.table
    return {
        label: {item: spreading_text(item, str(soil), context.catalog, ripped=bool(worked)) for item in MISSING}
        for label, kind, soil, worked in zip(table.index, table["kind"], table["soil_type"], ripped, strict=True)
        if kind == "ground"
    }


def condition_table(
    rules: Sequence[Rule],
    judged: pd.DataFrame,
    facts: pd.DataFrame,
    *,
    zone: Mapping[object, int],
    spreading: Mapping[object, Mapping[str, tuple[str, bool]]],
    ripped: Collection[object],
) -> pd.DataFrame:
    """Give the rules met or open in each zone of ground, columns of `Plan.conditions`.

    `spreading` has for each zone of ground what is said of lime and gypsum, and whether an amount is given; it follows
    the advice of the first rule met that asks for the item; an amount that no rule asks for has a row of its own. Where
    nothing is `ripped`, what ripping would mend is not told.
    """
    rows, told = [], {label: dict(texts) for label, texts in spreading.items()}
    for label, number, met in judged[judged["met"] != "no"].itertuples(index=False):
        rule, known = rules[number], as_records(facts.loc[[label]])[0]
        if label not in spreading or (met == "yes" and not rule.not_fixed and label not in ripped):
            continue
        evidence = _evidence(rule, known)
        advice = rule.advice
        if met == "yes" and rule.spreads is not None:
            advice = f"{advice} {told[label].pop(rule.spreads, ('', False))[0]}".rstrip()
        rows.append(
            {
                "zone": zone[label],
                "constraint": rule.constraint,
                "met": f"{met}: {rule.says}" + (f" ({evidence})" if evidence else ""),
                "setup": ", ".join(rule.prefers),
                "rollers": "" if rule.rollers is None else ("yes" if rule.rollers else "no"),
                "advice": advice if met == "yes" else f"Measure {_missing(rule, known)} to know.",
                "source": rule.source,
            }
        )
    rows += [
        {
            "zone": zone[label],
            "constraint": item,
            "met": GIVEN,
            "setup": "",
            "rollers": "",
            "advice": text,
            "source": "user",
        }
        for label, texts in told.items()
        for item, (text, given) in texts.items()
        if given
    ]
    return pd.DataFrame(rows, columns=["zone", "constraint", "met", "setup", "rollers", "advice", "source"])


def not_fixed(rules: Sequence[Rule], judged: pd.DataFrame, label: object) -> str:
    """Give what ripping leaves unmended in one zone, one line."""
    left = (rules[number].not_fixed for number in rules_met(judged, label))
    return "; ".join(dict.fromkeys(text for text in left if text))


def _missing(rule: Rule, known: Mapping[str, object]) -> str:
    missing = (WORDS.get(name, (name,))[0] for name in rule.when if np.isnan(known_value(known, name)))
    return " and ".join(name.removeprefix("lowest ") for name in missing)


def _evidence(rule: Rule, known: Mapping[str, object]) -> str:
    """Give the values a rule was judged by, with where the measured ones come from."""
    found = {name: known_value(known, name) for name in rule.when if name in WORDS}
    values = [_measured(*WORDS[name], value) for name, value in found.items() if not np.isnan(value)]
    return ", ".join([*values, str(known["cores"])] if any(name in MEASURED for name in rule.when) else values)


def _measured(name: str, unit: str, value: float) -> str:
    if np.isinf(value):
        return f"no {name.removeprefix('depth to ')} in reach"
    return f"{name} {value:.0%}" if unit == "share" else f"{name} {value:.3g}{unit}"
