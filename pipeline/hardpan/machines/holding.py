"""What holds a machine back, and on how much ground."""

from collections.abc import Iterator

from hardpan.records.alternatives import HeldBack
from hardpan.records.plan import Plan
from hardpan.records.reasons import Left, Limit, Ripped

_BY_LIMIT = {
    Limit.POWER: HeldBack.POWER,
    Limit.GRIP: HeldBack.WEIGHT,
    Limit.TINE: HeldBack.STRENGTH,
    Limit.FRAME: HeldBack.STRENGTH,
    Limit.SPEED: HeldBack.WIDTH,
    **dict.fromkeys(
        (Limit.RIPPER_DEEPEST, Limit.RIPPER_SHALLOWEST, Limit.SETUP_DEEPEST, Limit.SETUP_SHALLOWEST), HeldBack.DEPTH
    ),
}


def held_back(plan: Plan) -> tuple[HeldBack, float]:
    """What holds the machine of a plan on most ground, and that ground, ha."""
    area_ha = dict.fromkeys(HeldBack, 0.0)
    for held, ha in _by_zone(plan):
        area_ha[held] += ha
    most = max(area_ha, key=lambda held: area_ha[held])
    return most, area_ha[most]


def _by_zone(plan: Plan) -> Iterator[tuple[HeldBack, float]]:
    """What holds the depth of each zone, or but for that the pace."""
    zones = plan.zones.set_index("zone")["area_ha"]
    pace = dict(zip(plan.machine["zone"], plan.machine["limited_by"], strict=True)) if len(plan.machine) else {}
    for reason in plan.reasons:
        why, ha = reason.why, float(zones[reason.zone])
        if isinstance(why, Left):
            limit = None if why.held_by is None else why.held_by.limit
            yield (HeldBack.COST if limit is None else _BY_LIMIT.get(limit, HeldBack.SOIL)), ha
        elif isinstance(why, Ripped):
            held = why.held or (why.deeper.short_of if why.deeper is not None else None)
            limit = Limit(pace[reason.zone]) if held is None else held.limit
            yield _BY_LIMIT.get(limit, HeldBack.SOIL), ha
