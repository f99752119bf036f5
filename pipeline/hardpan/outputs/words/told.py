"""Tables of the records with their sentences, as files and pages show them."""

import geopandas as gpd
import pandas as pd

from hardpan.outputs.words.interface import Words
from hardpan.records.advice import Step
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issues
from hardpan.records.pan import PanFeatures
from hardpan.records.plan import Plan
from hardpan.records.probing import SitePlan
from hardpan.records.reasons import CheckStrip, Limit
from hardpan.records.surfaces import Surfaces

ZONES = (
    "zone",
    "kind",
    "soil_type",
    "area_ha",
    "depth_mm",
    "setup",
    "spacing_mm",
    "speed_kmh",
    "passes",
    "reason",
    "runner_up",
    "runner_up_cost_per_ha",
    "breach_probability",
    "loosened_share",
    "net_per_ha",
    "net_low_per_ha",
    "net_high_per_ha",
    "loss_probability",
    "will_not_fix",
    "would_change",
    "geometry",
)
"""Columns of zones.csv and of the layer `zones`: those of `records.columns.PLAN` and four sentences."""


def told_zones(plan: Plan, words: Words) -> gpd.GeoDataFrame:
    """Zones in rising number with `reason`, `runner_up`, `will_not_fix` and `would_change`, columns `ZONES`.

    Where check strips are laid, `strip` and `pair` too: their numbers, 0 for other zones.
    """
    by_zone, say = {reason.zone: reason for reason in plan.reasons}, words.zones
    reasons = [by_zone[zone] for zone in plan.zones["zone"]]
    strips = {reason.zone: reason.why for reason in reasons if isinstance(reason.why, CheckStrip)}
    told = plan.zones.assign(
        reason=[say.reason(one) for one in reasons],
        runner_up=[say.runner_up(one) for one in reasons],
        will_not_fix=[say.unmended(one) for one in reasons],
        would_change=[say.change(one) for one in reasons],
    )
    columns = list(ZONES)
    if strips:
        columns[-1:-1] = ["strip", "pair"]
        told = told.assign(
            strip=[strips[zone].strip if zone in strips else 0 for zone in told["zone"]],
            pair=[strips[zone].pair if zone in strips else 0 for zone in told["zone"]],
        )
    return told[columns].sort_values("zone").reset_index(drop=True)


def told_insertions(pan: PanFeatures, words: Words) -> gpd.GeoDataFrame:
    """Insertions with `why` they say of the pan what they say, instead of its code and figures."""
    why = [words.ground.seen(row) for row in pan.insertions.drop(columns="geometry").to_dict("records")]
    told = pan.insertions.assign(why=why).drop(columns=["seen", "reached_mm", "layer_mm", "next_mm"])
    return told[[*(name for name in told if name not in {"why", "geometry"}), "why", "geometry"]]


def told_further(plan: SitePlan | None, words: Words) -> gpd.GeoDataFrame:
    """Sites to probe again with `why`; no rows where there are none."""
    if plan is None:
        return gpd.GeoDataFrame({"site": [], "why": []}, geometry=[])
    return plan.sites.assign(
        why=[words.sites.why(row) for row in plan.sites.drop(columns="geometry").to_dict("records")]
    )


def told_conditions(plan: Plan, catalog: Catalog, words: Words) -> pd.DataFrame:
    """Rules of the decision table that are met or open in each zone, and amounts that no rule asks for."""
    rules, say = {rule.constraint: rule for rule in catalog.rules}, words.ground
    rows = []
    for condition in plan.conditions:
        rule = rules.get(condition.constraint)
        rows.append(
            {
                "zone": condition.zone,
                "constraint": say.constraint(condition),
                "met": say.met(condition),
                "setup": "" if rule is None else ", ".join(map(words.zones.setup, rule.prefers)),
                "rollers": "" if rule is None or rule.rollers is None else rule.rollers,
                "advice": say.advice(condition),
                "source": "user" if rule is None else rule.source,
            }
        )
    return pd.DataFrame(rows, columns=["zone", "constraint", "met", "setup", "rollers", "advice", "source"])


def told_steps(plan: Plan, words: Words) -> pd.DataFrame:
    """What to set before the first run, one row a topic."""
    rows = [(*told_step(step, words), step.source) for step in plan.setting_up]
    return pd.DataFrame(rows, columns=["topic", "advice", "source"])


def told_step(step: Step, words: Words) -> tuple[str, str]:
    """Topic and advice of one thing to set, with its zones where it is about one set-up."""
    topic, advice = words.ground.step(step)
    return topic, f"{advice.rstrip('.')} {words.page.zones(step.zones)}." if step.zones else advice


def told_moisture(plan: Plan, words: Words) -> pd.DataFrame:
    """Verdict on moisture by zone, with its reason."""
    rows = plan.moisture.to_dict("records")
    return pd.DataFrame(
        {
            "zone": plan.moisture["zone"],
            "verdict": [words.ground.verdict(row["verdict"]) for row in rows],
            "moist_depth_mm": plan.moisture["moist_depth_mm"],
            "rain_needed_mm": plan.moisture["rain_needed_mm"],
            "why": [words.ground.moisture({str(name): value for name, value in row.items()}) for row in rows],
        }
    )


def told_machine(plan: Plan, words: Words) -> pd.DataFrame:
    """Machine by zone, with what it is short of."""
    held = [words.zones.limit(Limit(one)) for one in plan.machine["limited_by"]]
    return plan.machine.assign(limited_by=held)


def told_models(surfaces: Surfaces, words: Words) -> pd.DataFrame:
    """Fitted models, each with what it says in words."""
    rows = [{str(name): value for name, value in row.items()} for row in surfaces.models.to_dict("records")]
    return surfaces.models.assign(verdict=[words.ground.model(row) for row in rows])


def told_issues(issues: Issues, words: Words) -> pd.DataFrame:
    """One row an issue, as they were met."""
    say = words.units.say
    names = ("outcome", "stage", "code", "file", "place", "what", "done")
    places = [words.page.zone_names(one.zones) if one.zones else one.place for one in issues]
    rows = [
        (str(one.outcome), one.stage, one.code, one.file, place, say(one.what), say(one.done))
        for one, place in zip(issues, places, strict=True)
    ]
    return pd.DataFrame(rows, columns=list(names))
