"""The ledger: one line a zone and item, adding up to the cent."""

from collections.abc import Iterator, Mapping
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.money import spread_rates
from hardpan.options import change_cost, relative_wear
from hardpan.records.advice import Met
from hardpan.records.catalog import Catalog
from hardpan.records.ledger import TALLY, Rates
from hardpan.records.plan import Plan
from hardpan.records.rules import After, asked_after

BY_WORK = {
    "labour": "h",
    "tractor ownership": "h",
    "tractor repairs": "h",
    "ripper ownership": "h",
    "ripper repairs": "h",
    "fuel": "L",
    "lubricant": "L",
}
"""Items that go with the hours or the litres of the work."""

BESIDE = ("further zone", "change of fittings")
"""Items beyond the pass and what follows it, by zone or by hour."""

COSTS = (*BY_WORK, "points and wear", *map(str, After), *BESIDE)
"""Items whose amounts make up the item `cost`."""

AMENDMENTS = ("lime", "gypsum", "spreading")
"""Items whose amounts make up the item `amendments`."""

ITEMS = ("area", "hours", *COSTS, "cost", "benefit", "net return", *AMENDMENTS, "amendments", "contractor instead")
"""All items, in the order of the table."""

DECIMALS = 3
"""Of quantities: 10 m2, 3.6 s, 1 mL."""

_Drawn: TypeAlias = tuple[float, str, Floats]
"""Quantity, unit, and drawn amount of money, shape (n_draws,)."""

Lines: TypeAlias = Mapping[tuple[str, str], _Drawn]
"""Zone and item to what is drawn of it."""


def draw_lines(plan: Plan, catalog: Catalog, rates: Rates) -> Lines:
    """Quantity, unit and drawn money of each zone and item.

    `contractor instead` is the contractor's rate and the share of the fuel it leaves to the grower; no zone has it
    where the plan goes deeper than he does.
    """
    by_contractor = "contractor_per_ha" in rates.scenarios
    by_contractor &= bool((plan.zones["depth_mm"] <= catalog.prices.contractor_reach_mm).all())
    drawn: dict[tuple[str, str], _Drawn] = {}
    per_zone = (plan.returns, plan.hours, plan.fuel_l, plan.setting, plan.fitting_h)
    for row, returns, hours, litres, setting, fitting_h in zip(plan.zones.to_dict("records"), *per_zone, strict=True):
        zone, area_ha = str(row["zone"]), float(row["area_ha"])
        drawn[zone, "area"] = (area_ha, "ha", np.zeros_like(returns))
        if row["depth_mm"] <= 0:
            continue
        costs = dict(_cost_items(row, hours, litres, catalog, rates, asked=plan_after(plan, row["zone"], catalog)))
        costs |= _beside(float(setting), float(fitting_h), catalog, hours.size)
        cost = _sum(costs)
        drawn[zone, "hours"] = (float(hours.mean()), "h", np.zeros_like(returns))
        drawn |= {(zone, item): line for item, line in costs.items()}
        drawn[zone, "cost"] = (area_ha, "ha", cost)
        drawn[zone, "benefit"] = (area_ha, "ha", cost + returns)
        drawn[zone, "net return"] = (area_ha, "ha", returns)
        if amendments := dict(_amendments(area_ha, _spread(row["soil_type"], catalog), rates)):
            drawn |= {(zone, item): line for item, line in amendments.items()}
            drawn[zone, "amendments"] = (area_ha, "ha", _sum(amendments))
        if by_contractor:
            fuel = _fuel_left(catalog) * (costs["fuel"][2] + costs["lubricant"][2])
            hire = area_ha * rates.scenarios["contractor_per_ha"].to_numpy() + fuel
            drawn[zone, "contractor instead"] = (area_ha, "ha", hire)
    return drawn


def plan_after(plan: Plan, zone: int, catalog: Catalog) -> tuple[After, ...]:
    """Work that is asked for after the pass in a zone of the plan."""
    met = {one.constraint for one in plan.conditions if one.zone == zone and one.met is Met.YES}
    return asked_after(rule for rule in catalog.rules if rule.constraint in met)


def total_of(drawn: Lines, item: str) -> Floats:
    """Drawn money of an item over all zones, shape (n_draws,); a plain 0 where no zone has it."""
    return np.asarray(sum(money for (_, name), (_, _, money) in drawn.items() if name == item))


def _fuel_left(catalog: Catalog) -> float:
    """Share of the fuel that the contractor's rate leaves to the grower."""
    left = catalog.prices.contractor_fuel
    return 0.0 if left is None else left.value


def _sum(items: Mapping[str, _Drawn]) -> Floats:
    return np.asarray(np.sum([money for _, _, money in items.values()], axis=0))


def _cost_items(
    row: dict[str, Any], hours: Floats, litres: Floats, catalog: Catalog, rates: Rates, *, asked: tuple[After, ...]
) -> Iterator[tuple[str, _Drawn]]:
    """Quantity, unit and drawn money of each item of the work in one ripped zone."""
    area_ha, price = float(row["area_ha"]), {name: rate.to_numpy() for name, rate in rates.scenarios.items()}
    per_unit = {"h": hours, "L": litres}
    wear = relative_wear(catalog.setups[row["setup"]], catalog.effort, row["depth_mm"], row["passes"])
    for item, unit in BY_WORK.items():
        yield item, (float(per_unit[unit].mean()), unit, per_unit[unit] * price[item])
    yield "points and wear", (area_ha, "ha", area_ha * float(wear) * price["points and wear"])
    for work in asked:
        if work.price in price:
            yield str(work), (area_ha, "ha", area_ha * price[work.price])


def _beside(setting: float, fitting_h: float, catalog: Catalog, n_draws: int) -> dict[str, _Drawn]:
    """The same of what one ripped zone costs beyond that, items of `BESIDE` that it has."""
    money = setting, float(change_cost(catalog, fitting_h))
    lines = zip(BESIDE, ((1.0, "zone"), (fitting_h, "h")), money, strict=True)
    return {item: (*quantity, np.full(n_draws, paid)) for item, quantity, paid in lines if paid}


def _spread(soil_type: str, catalog: Catalog) -> dict[str, float]:
    """Lime and gypsum to spread where a soil type is ripped, item -> t/ha."""
    rates = spread_rates(catalog.soils[soil_type], catalog.prices.gypsum_per_meq)
    return {item: rate.value for item, rate in rates.items()}


def _amendments(area_ha: float, spread: Mapping[str, float], rates: Rates) -> Iterator[tuple[str, _Drawn]]:
    """Quantity, unit and drawn money of what is spread on one zone."""
    for item, t_per_ha in spread.items():
        tonnes = area_ha * t_per_ha
        yield item, (tonnes, "t", tonnes * rates.scenarios[f"{item}_per_t"].to_numpy())
    if spread:
        once_ha = area_ha * len(spread)
        yield "spreading", (once_ha, "ha", once_ha * rates.scenarios["spreading_per_ha"].to_numpy())


def ledger_lines(drawn: Lines) -> pd.DataFrame:
    """Lines of all zones and of `total`, columns `records.ledger.TALLY`, amounts in whole cents that add up.

    Quantities are rounded to `DECIMALS` in each zone, and their total is the sum of what is written.
    `cost` is the sum of the items of `COSTS` and `benefit` is `cost` plus `net return`, to the cent, in every zone and
    in all. `amendments` is the sum of the items of `AMENDMENTS` and stands apart: what lime and gypsum return is not
    counted, so neither is what they cost. `area` and `hours` have no amount of their own, and `contractor instead` is
    part of no sum. Amounts are means over the draws, `low` and `high` their 5 and 95 % points.
    """
    amounts = {key: round(float(money.mean()), 2) for key, (_, _, money) in drawn.items()}
    for zone, total in drawn:
        if parts := {"cost": COSTS, "amendments": AMENDMENTS}.get(total):
            amounts[zone, total] = round(sum(amounts.get((zone, item), 0.0) for item in parts), 2)
    for zone in {zone for zone, item in drawn if item == "benefit"}:
        amounts[zone, "benefit"] = round(amounts[zone, "cost"] + amounts[zone, "net return"], 2)
    drawn = {key: (round(quantity, DECIMALS), unit, money) for key, (quantity, unit, money) in drawn.items()}
    rows = [_row(zone, item, line, amounts[zone, item]) for (zone, item), line in drawn.items()]
    for item in ITEMS:
        same = [key for key in drawn if key[1] == item]
        if not same:
            continue
        quantity = round(sum(drawn[key][0] for key in same), DECIMALS)
        money = np.sum([drawn[key][2] for key in same], axis=0)
        amount = round(sum(amounts[key] for key in same), 2)
        rows.append(_row("total", item, (quantity, drawn[same[0]][1], money), amount))
    return pd.DataFrame(rows, columns=[*TALLY])


def _row(zone: str, item: str, line: _Drawn, amount: float) -> dict[str, object]:
    quantity, unit, money = line
    low, high = (round(float(end), 2) for end in np.quantile(money, [0.05, 0.95]))
    return {
        "zone": zone,
        "item": item,
        "quantity": quantity,
        "unit": unit,
        "price": amount / quantity if quantity else 0.0,
        "amount": amount,
        "low": min(low, amount),
        "high": max(high, amount),
    }


def net_figures(net: Floats) -> dict[str, float]:
    """Mean of a net return (n_draws,), its 5 and 95 % points, the mean never outside of them, and chance of a loss."""
    low, high = np.quantile(net, [0.05, 0.95])
    mean = float(net.mean())
    return {
        "net": mean,
        "net_low": min(float(low), mean),
        "net_high": max(float(high), mean),
        "loss_probability": float((net < 0).mean()),
    }
