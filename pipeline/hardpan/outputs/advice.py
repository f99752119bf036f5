"""What the plan says of moisture, set-up and finish, in sentences for the cab."""

from collections.abc import Sequence

import pandas as pd

from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import told_step
from hardpan.records.advice import Condition, Met, Step, Verdict
from hardpan.records.catalog import Catalog
from hardpan.records.plan import Plan
from hardpan.records.rules import After, Rule, asked_after


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
    why = rows.assign(why=[words.ground.moisture(row) for row in _records(rows)])
    if len(set(why["why"])) > 1 and moist.notna().all() and rain.notna().all():
        span = page.moist_span((moist.min(), moist.max()), (rain.min(), rain.max()))
        return [f"{page.moisture(verdict, span)} {page.zones(list(rows['zone']))}."]
    return [
        f"{page.moisture(verdict, str(reason))} {page.zones(list(same['zone']))}."
        for reason, same in why.groupby("why", sort=False)
    ]


def _records(rows: pd.DataFrame) -> list[dict[str, object]]:
    return [{str(name): value for name, value in row.items()} for row in rows.to_dict("records")]


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
