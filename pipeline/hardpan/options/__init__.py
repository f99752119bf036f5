"""Ground and machine in, what each depth and set-up would do and return out.

`stage` is the recipe. Zones are judged by the same means as the nodes were: what other rooms may use is named here.
"""

from hardpan.options.candidates import depth_limits_mm
from hardpan.options.choice import LEAVE, Texts, ZoneEvaluation, choose, positions, runner_up
from hardpan.options.conditions import (
    as_records,
    ceiling_rules,
    credit_spans,
    forbidden_setups,
    judge,
    known_value,
    rules_met,
    setup_gains,
)
from hardpan.options.economy import Economy, economy_of
from hardpan.options.effort import LIMITS, Passes, field_efficiency, machine_limit
from hardpan.options.facts import MEASURED, shares_of, zone_facts
from hardpan.options.ground import Ground, build_ground
from hardpan.options.returns import credit_draws, reach_probability
from hardpan.options.settings import PrescriptionSettings

__all__ = [
    "LEAVE",
    "LIMITS",
    "MEASURED",
    "Economy",
    "Ground",
    "Passes",
    "PrescriptionSettings",
    "Texts",
    "ZoneEvaluation",
    "as_records",
    "build_ground",
    "ceiling_rules",
    "choose",
    "credit_draws",
    "credit_spans",
    "depth_limits_mm",
    "economy_of",
    "field_efficiency",
    "forbidden_setups",
    "judge",
    "known_value",
    "machine_limit",
    "positions",
    "reach_probability",
    "rules_met",
    "runner_up",
    "setup_gains",
    "shares_of",
    "zone_facts",
]
