"""Ground and machine in, what each depth and set-up would do and return out.

`stage` is the recipe. Zones are judged by the same means as the nodes were: what other rooms may use is named here.
"""

from hardpan.options.candidates import depth_limits_mm, into_clay_mm
from hardpan.options.choice import (
    LEAVE,
    Limits,
    ZoneEvaluation,
    by_cover,
    change_cost,
    change_hours,
    change_price,
    choose,
    positions,
    runner_up,
)
from hardpan.options.conditions import (
    MEASURED,
    after_costs,
    ceiling_rules,
    clay_or_cored_mm,
    credit_draws,
    forbidden_setups,
    is_repellent,
    judge,
    rules_met,
    setup_credits,
    shares_of,
    zone_facts,
)
from hardpan.options.economy import Economy, economy_of, loss_of, reach_probability
from hardpan.options.effort import (
    POWER_STEP_KW,
    Passes,
    machine_limit,
    published_draft_kn,
    rounded_up,
)
from hardpan.options.ground import Ground, build_ground
from hardpan.options.loosening import clay_ceiling_mm, clay_chance, loosened_to_mm, ridge_mm
from hardpan.options.mechanics import change_distance_m, field_efficiency, relative_wear
from hardpan.options.soil_types import Stakes, economy_on, moist_depth_mm, stakes_at

__all__ = [
    "LEAVE",
    "MEASURED",
    "POWER_STEP_KW",
    "Economy",
    "Ground",
    "Limits",
    "Passes",
    "Stakes",
    "ZoneEvaluation",
    "after_costs",
    "build_ground",
    "by_cover",
    "ceiling_rules",
    "change_cost",
    "change_distance_m",
    "change_hours",
    "change_price",
    "choose",
    "clay_ceiling_mm",
    "clay_chance",
    "clay_or_cored_mm",
    "credit_draws",
    "depth_limits_mm",
    "economy_of",
    "economy_on",
    "field_efficiency",
    "forbidden_setups",
    "into_clay_mm",
    "is_repellent",
    "judge",
    "loosened_to_mm",
    "loss_of",
    "machine_limit",
    "moist_depth_mm",
    "positions",
    "published_draft_kn",
    "reach_probability",
    "relative_wear",
    "ridge_mm",
    "rounded_up",
    "rules_met",
    "runner_up",
    "setup_credits",
    "shares_of",
    "stakes_at",
    "zone_facts",
]
