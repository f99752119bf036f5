"""The set-up decision table read against what is known of each zone."""

from collections.abc import Collection, Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats, Ints
from hardpan.records.catalog import Rule

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

GIVEN = "yes: the soil type has a rate"
"""Why an amount of lime or gypsum is told that no rule asks for."""


def core_facts(zones: gpd.GeoDataFrame, cores: gpd.GeoDataFrame) -> pd.DataFrame:
    """Give the mean of the cores by zone: of those inside it, else of those of its soil type, else NaN.

    Returns
    -------
    DataFrame
        Index as `zones`; columns `MEASURED`, `ph_subsoil` (the lower of 100-200 and 200-300 mm) and `cores` (text:
        where the values come from).
    """
    values = cores.reindex(columns=list(MEASURED)).astype(float)
    values["ph_subsoil"] = values[["ph_100_200", "ph_200_300"]].min(axis=1)
    rows = []
    for soil, shape in zip(zones["soil_type"], zones.geometry, strict=True):
        inside = cores.within(shape).to_numpy() if len(cores) else np.zeros(0, dtype=bool)
        alike = (cores["soil_type"] == soil).to_numpy() if len(cores) else inside
        use, where = (inside, "in the zone") if inside.any() else (alike, f"of {soil}")
        n = int(use.sum())
        said = f"{n} core{'s' if n > 1 else ''} {where}" if n else "no core"
        rows.append({**values[use].mean().to_dict(), "cores": said})
    return pd.DataFrame(rows, index=zones.index)


def judge(rules: Sequence[Rule], facts: pd.DataFrame) -> pd.DataFrame:
    """Give one row a zone and rule: `row` (label of `facts`), `rule` (position), `met` "yes", "no" or "not known"."""
    rows = [
        {"row": label, "rule": number, "met": _met(rule, known)}
        for label, known in zip(facts.index, _records(facts), strict=True)
        for number, rule in enumerate(rules)
    ]
    return pd.DataFrame(rows, columns=["row", "rule", "met"])


def _records(facts: pd.DataFrame) -> list[dict[str, object]]:
    return [{str(name): value for name, value in row.items()} for row in facts.to_dict("records")]


def _met(rule: Rule, known: Mapping[str, object]) -> str:
    found = {name: _known(known, name) for name in rule.when}
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
        rule, known = rules[number], _records(facts.loc[[label]])[0]
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
    missing = (WORDS.get(name, (name,))[0] for name in rule.when if np.isnan(_known(known, name)))
    return " and ".join(name.removeprefix("lowest ") for name in missing)


def _evidence(rule: Rule, known: Mapping[str, object]) -> str:
    """Give the values a rule was judged by, with where the measured ones come from."""
    found = {name: _known(known, name) for name in rule.when if name in WORDS}
    values = [_measured(*WORDS[name], value) for name, value in found.items() if not np.isnan(value)]
    return ", ".join([*values, str(known["cores"])] if any(name in MEASURED for name in rule.when) else values)


def _known(known: Mapping[str, object], name: str) -> float:
    return float(known.get(name, np.nan))  # type: ignore[arg-type]


def _measured(name: str, unit: str, value: float) -> str:
    if np.isinf(value):
        return f"no {name.removeprefix('depth to ')} in reach"
    return f"{name} {value:.0%}" if unit == "share" else f"{name} {value:.3g}{unit}"
