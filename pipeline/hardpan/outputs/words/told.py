"""Tables of the records with their sentences, as files and pages show them, and what a plan says in the cab."""

from collections.abc import Sequence

import geopandas as gpd
import pandas as pd

from hardpan.outputs.words.interface import Words
from hardpan.records.advice import Condition, Met, Step, Verdict
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issues
from hardpan.records.pan import PanFeatures
from hardpan.records.plan import Plan
from hardpan.records.probing import SitePlan
from hardpan.records.reasons import CheckStrip, Limit
from hardpan.records.rules import After, Rule, asked_after
from hardpan.records.surfaces import Surfaces

ZONES = (
    "zone", "kind", "soil_type", "area_ha", "depth_mm", "setup", "spacing_mm", "speed_kmh", "passes", "reason",
    "runner_up", "runner_up_cost_per_ha", "breach_probability", "loosened_share", "net_per_ha", "net_low_per_ha",
    "net_high_per_ha", "loss_probability", "will_not_fix", "would_change", "geometry",
)  # fmt: skip
"""Columns of zones.csv and of the layer `zones`: those of `records.plan.PLAN` and four sentences."""


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


def first_cautions(plan: Plan, words: Words) -> list[str]:
    """What is read before anything else: a state of the soil that forbids ripping or is not known, and bare ground."""
    say, told = words.page.label, list[str]()
    ripped = plan.moisture["zone"].isin(plan.zones.loc[plan.zones["depth_mm"] > 0, "zone"])
    verdict = plan.moisture["verdict"]
    if plan.too_wet:
        told.append(say("too_wet"))
    if dry := plan.moisture.loc[~ripped & (verdict.isin([Verdict.WAIT, Verdict.TOO_DRY])), "zone"].tolist():
        told.append(f"{say('too_dry')} {words.page.zones(dry)}.")
    if (ripped & (verdict == Verdict.UNKNOWN)).any():
        told.append(say("moisture_unknown"))
    return told + list(words.ground.cautions(plan.conditions))


def plan_advice(
    zones: pd.DataFrame, moisture: pd.DataFrame, conditions: Sequence[Condition], catalog: Catalog, words: Words
) -> list[str]:
    """What the plan says of moisture and set-up where it rips, each sentence once with its zones."""
    ripped = set(zones.loc[zones["depth_mm"] > 0, "zone"])
    wet = moisture[moisture["zone"].isin(ripped)]
    told = [line for _, rows in wet.groupby(["verdict", "known"], sort=False) for line in _moisture(rows, words)]
    met = [one for one in conditions if one.zone in ripped and one.met is Met.YES]
    return told + _advice(met, catalog, words)


def set_up_advice(steps: Sequence[Step], words: Words) -> list[str]:
    """How to set tractor and ripper up, each after its topic; none where nothing is known."""
    told = (told_step(step, words) for step in steps)
    return [f"{topic.capitalize()}: {advice}" for topic, advice in told]


def _moisture(rows: pd.DataFrame, words: Words) -> list[str]:
    """Zones of one verdict in one sentence where only the amounts differ, in one a reason otherwise."""
    page, verdict = words.page, words.ground.verdict(rows["verdict"].iloc[0])
    moist, rain = rows["moist_depth_mm"], rows["rain_needed_mm"]
    records = ({str(name): value for name, value in row.items()} for row in rows.to_dict("records"))
    why = rows.assign(why=[words.ground.moisture(row) for row in records])
    if len(set(why["why"])) > 1 and moist.notna().all() and rain.notna().all():
        span = page.moist_span((moist.min(), moist.max()), (rain.min(), rain.max()))
        return [f"{page.moisture(verdict, span)} {page.zones(list(rows['zone']))}."]
    return [
        f"{page.moisture(verdict, str(reason))} {page.zones(list(same['zone']))}."
        for reason, same in why.groupby("why", sort=False)
    ]


def _advice(met: Sequence[Condition], catalog: Catalog, words: Words) -> list[str]:
    """What is advised where a condition is met, each sentence once with its zones."""
    told: dict[str, list[int]] = {}
    for condition in met:
        told.setdefault(words.ground.advice(condition, cab=True), []).append(condition.zone)
    rules = {rule.constraint: rule for rule in catalog.rules}
    asked: dict[int, list[Rule]] = {}
    for one in met:
        if one.constraint in rules:
            asked.setdefault(one.zone, []).append(rules[one.constraint])
    if rolled := [zone for zone, of_zone in asked.items() if After.ROLLING in asked_after(of_zone)]:
        told[words.page.label("card_roll")] = rolled
    return [f"{text.rstrip('.')} {words.page.zones(zones)}." for text, zones in told.items() if text]
