"""Machines beside the present one: return, cost, hours, days, break-even use, and what holds each back and where."""

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.units import W_PER_HP
from hardpan.money import owning_per_hour
from hardpan.records.alternatives import HeldBack, MachineRow, Offer, Terms, Worked
from hardpan.records.decision import SeasonSettings
from hardpan.records.plan import Plan, WaySum
from hardpan.records.reasons import Left, Limit, Ripped, Way

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

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Drawn:
    """A machine at work, drawn money of the paddock, (n_draws,)."""

    worked: Worked
    total: WaySum
    net: Floats
    """At full cost."""
    cash: Floats
    """The same plan without what owning costs."""
    hours: float
    """NaN where not known."""
    days: float
    """The same, those waited with it."""
    in_time: float
    """Share of the work that the fit days allow, over years on average."""

    @property
    def offer(self) -> Offer:
        """The machine."""
        return self.worked.offer


def compare_machines(present: Worked, others: Sequence[Worked], *, season: SeasonSettings) -> tuple[MachineRow, ...]:
    """The present machine and every other, in the order given."""
    own, drawn = _drawn(present, season), [_drawn(one, season) for one in others]
    hired = [one for one in (own, *drawn) if one.offer.terms is Terms.CONTRACTOR]
    cheapest = max(hired, key=lambda one: one.net.mean(), default=None)
    logger.info("%d machines beside the present one", len(drawn))
    return tuple(_row(one, own, cheapest) for one in (own, *drawn))


def _drawn(worked: Worked, season: SeasonSettings) -> _Drawn:
    offer, plan = worked.offer, worked.plan
    contractor = offer.terms is Terms.CONTRACTOR
    way = next(one for one in worked.ledger.ways if one.way is (Way.CONTRACTOR if contractor else Way.FULL))
    if contractor:
        net = next(tried for tried in plan.ways if tried.way is Way.CONTRACTOR).net.sum(axis=0)
        cash, hours = net, way.ripped_ha / offer.ha_per_h
    else:
        net, hours = plan.returns.sum(axis=0), way.hours
        cash = net + owning_per_hour(offer.rates).to_numpy() * plan.hours.sum(axis=0)
    days = hours / season.hours_per_day
    return _Drawn(
        worked=worked,
        total=way,
        net=net,
        cash=cash,
        hours=hours,
        days=days + offer.waiting_days,
        in_time=float(np.mean([_in_time(days, left - offer.waiting_days) for left in worked.fit_days or (np.inf,)])),
    )


def _in_time(days: float, left: float) -> float:
    """Share of `days` of work that `left` fit days hold; work of unknown length is taken to fit where any are left."""
    if left <= 0.0:
        return 0.0
    return 1.0 if not days > left else left / days


def _row(one: _Drawn, present: _Drawn, cheapest: _Drawn | None) -> MachineRow:
    total, is_present, net = one.total, one is present, one.in_time * one.net
    own_at_cash = present.in_time * present.cash
    held_by, held_ha = _held(one)
    yearly, against = _owned_per_year(one), _against(one, present, cheapest)
    use = _break_even(one, yearly, against)
    return MachineRow(
        name=one.offer.name,
        terms=one.offer.terms,
        ripped_ha=total.ripped_ha,
        depths_mm=total.depths_mm,
        net=total.net,
        net_low=total.net_low,
        net_high=total.net_high,
        cost=total.cost,
        cash_cost=total.cost - float((one.cash - one.net).mean()),
        hours=one.hours,
        days=one.days,
        in_time=one.in_time,
        beats_full=np.nan if is_present else float((net > present.in_time * present.net).mean()),
        beats_cash=np.nan if is_present else float((net > own_at_cash).mean()),
        owned_per_year=float(yearly.mean()) if one.offer.paid else np.nan,
        break_even_ha=use[1],
        break_even_low=use[0],
        break_even_high=use[2],
        against="" if against is None else against.offer.name,
        held_by=held_by,
        held_ha=held_ha,
        **_grip(one),
    )


def _held(one: _Drawn) -> tuple[HeldBack, float]:
    """What holds a machine back: the fit days before all else; a contractor's machine is not known."""
    if one.in_time < 1.0:
        return HeldBack.FIT_DAYS, (1.0 - one.in_time) * one.total.ripped_ha
    return (HeldBack.UNKNOWN, 0.0) if one.offer.terms is Terms.CONTRACTOR else held_back(one.worked.plan)


def _owned_per_year(one: _Drawn) -> Floats:
    """Drawn cost a year of owning what is bought, (n_draws,)."""
    offer, catalog = one.offer, one.offer.catalog
    names = {"tractor": ("tractors", catalog.tractor_name), "ripper": ("rippers", catalog.ripper_name)}
    yearly = np.zeros(one.net.size)
    for part in offer.paid:
        hours_per_year = offer.rates.drawn[".".join((*names[part], "hours_per_year"))]
        yearly += offer.rates.scenarios[f"{part} ownership"].to_numpy() * hours_per_year
    return offer.new_share * yearly


def _against(one: _Drawn, present: _Drawn, cheapest: _Drawn | None) -> _Drawn | None:
    """What a machine that is bought has to earn its yearly cost against, None where nothing is bought.

    Hiring, where a rate is known; an upgrade, and any machine where none is, the present one at cash cost.
    """
    if not one.offer.paid:
        return None
    if one.offer.terms is Terms.UPGRADED or cheapest is None:
        return None if one is present else present
    return cheapest


def _break_even(one: _Drawn, yearly: Floats, against: _Drawn | None) -> tuple[float, float, float]:
    """Use a year at which owning pays: 5 %, expected, 95 %; infinite: never; NaN where nothing is bought."""
    if against is None:
        return (np.nan, np.nan, np.nan)
    other = against.cash if against.offer.terms is Terms.PRESENT else against.net
    saved = (one.cash - other) / max(one.total.ripped_ha, 1e-9)
    low, high = np.quantile(break_even_use(yearly, saved), [0.05, 0.95], method="nearest")
    return float(low), float(break_even_use(yearly.mean(), saved.mean())), float(high)


def _grip(one: _Drawn) -> dict[str, float]:
    """Slip, mass, mass a PTO horsepower and what is usual, figures of `MachineRow`."""
    offer, effort = one.offer, one.offer.catalog.effort
    tractor = offer.catalog.tractor
    usual = effort.ballast.get(tractor.drive)
    if offer.terms is Terms.CONTRACTOR:
        return dict.fromkeys(("slip", "mass_kg", "kg_per_pto_hp", "usual_low", "usual_high"), np.nan)
    pto_hp = tractor.engine_power.value * effort.fuel["engine_to_pto"].value * 1000.0 / W_PER_HP
    low, high = (np.nan, np.nan) if usual is None else usual.span
    return {
        "slip": float(one.worked.plan.machine["slip"].max()) if len(one.worked.plan.machine) else np.nan,
        "mass_kg": tractor.mass.value,
        "kg_per_pto_hp": tractor.mass.value / pto_hp,
        "usual_low": low,
        "usual_high": high,
    }


def break_even_use(owned_per_year: Floats | float, saved_per_ha: Floats | float) -> Floats:
    """Use a year at which owning costs no more than hiring, BEU = AOC / (CR - OPC) (`field-solie`).

    Parameters
    ----------
    owned_per_year : array
        AOC: what owning costs a year.
    saved_per_ha : array
        CR - OPC: what hiring costs more a hectare than running the own machine, or what the own machine brings more.

    Returns
    -------
    array
        Hectares a year; infinite where running the own machine saves nothing.

    >>> break_even_use(1000.0, np.array([17.0, 0.0])).round(1).tolist()
    [58.8, inf]
    """
    saved = np.asarray(saved_per_ha, dtype=float)
    safe = np.where(saved > 0.0, saved, 1.0)
    return np.asarray(np.where(saved > 0.0, np.asarray(owned_per_year) / safe, np.inf))


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
