"""What the plan says of moisture, set-up and finish, in sentences for the cab."""

import re
from collections.abc import Callable

import pandas as pd

from hardpan.outputs.people import People

_ENDS = re.compile(r"(?<=\.) (?=[A-Z])")
"""Between two sentences."""


def plan_advice(zones: pd.DataFrame, moisture: pd.DataFrame, conditions: pd.DataFrame, people: People) -> list[str]:
    """Give what the plan says of moisture and set-up where it rips, each sentence once with its zones."""
    ripped = zones.loc[zones["depth_mm"] > 0, "zone"]
    dry = moisture[moisture["zone"].isin(ripped)]
    told = [line for _, rows in dry.groupby("verdict", sort=False) for line in _moisture(rows, people)]
    return told + [people.text(advice) for advice in _advice(conditions[conditions["zone"].isin(ripped)])]


def set_up_advice(setting_up: pd.DataFrame, people: People) -> list[str]:
    """Give how to set tractor and ripper up, each after its topic; none where nothing is known."""
    if setting_up.empty:
        return []
    return [
        people.text(f"{topic.capitalize()}: {advice}")
        for topic, advice in zip(setting_up["topic"], setting_up["advice"], strict=True)
    ]


def _moisture(rows: pd.DataFrame, people: People) -> list[str]:
    """Give the zones of one verdict in one sentence where only the amounts differ, in one a reason otherwise."""
    moist, rain = rows["moist_depth_mm"], rows["rain_needed_mm"]
    if len(rows["why"].unique()) > 1 and moist.notna().all() and rain.notna().all():
        more = f"; about {_span(rain, people.rain)} more rain" if rain.max() > 0 else ""
        return [
            f"Moisture: {rows['verdict'].iloc[0]}; moist to {_span(moist, people.depth)}{more}{_zones(rows['zone'])}."
        ]
    return [
        f"Moisture: {verdict}; {people.text(str(why).rstrip('.'))}{_zones(same['zone'])}."
        for (verdict, why), same in rows.groupby(["verdict", "why"], sort=False)
    ]


def _span(values: pd.Series, say: Callable[[float], str]) -> str:
    low, high = say(values.min()), say(values.max())
    return low if low == high else f"{low} to {high}"


def _zones(zones: pd.Series) -> str:
    numbers = ", ".join(map(str, zones))
    return f" (zone {numbers})" if len(zones) == 1 else f" (zones {numbers})"


def _advice(conditions: pd.DataFrame) -> list[str]:
    """Give what the plan advises where a condition is met, each sentence once with its zones.

    A sentence that names an entry of the configuration is for the desk: it stands in the report only.
    """
    met = conditions[conditions["met"].str.startswith("yes")]
    met = met.assign(advice=[" ".join(s for s in _ENDS.split(a) if "soil.types" not in s) for a in met["advice"]])
    told = [(advice, rows["zone"]) for advice, rows in met[met["advice"] != ""].groupby("advice", sort=False)]
    rolled = met.loc[met["rollers"] == "yes", "zone"].drop_duplicates()
    told += [("Roll behind the tines", rolled)] if len(rolled) else []
    return [f"{str(advice).rstrip('.')}{_zones(zones)}." for advice, zones in told]
