"""How much money each shipped number that nobody could check moves the plan by, one at a time."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats, Ints
from hardpan.core.settings import Settings
from hardpan.money import expected_rates
from hardpan.options import (
    LEAVE,
    Economy,
    Ground,
    economy_of,
    into_clay_mm,
    loss_of,
    rules_met,
    setup_credits,
)
from hardpan.prescription.context import Context, build_context, turning_time
from hardpan.prescription.tables import Path, key_of, numbers_of, parts_of, shipped_numbers
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Draft, Options
from hardpan.records.pan import PanFeatures
from hardpan.records.plan import Plan
from hardpan.records.quantity import Quantity
from hardpan.records.rules import After, asked_after
from hardpan.records.zones import Zones

UNCHECKED = ("unverified", "from memory")
"""Standings of a number that was not read in a source."""

NODES, DRAWS = 6, 4
"""Nodes of each zone and draws that stand for all: what is told is an order, and its error is some ten per cent."""

BOUGHT = {"list_price", "years", "hours_per_year"}
"""Numbers of a machine that its pull does not hang on."""

WORTH = {"grain_per_t", "discount_rate"}
"""Prices that the worth of a gain hangs on."""

LEAST = 0.5
"""Less money than this, once rounded, is none."""

TENTH = 0.1
"""Share by which a number is moved either way that has no stated range."""


Price: TypeAlias = Callable[[Catalog, int], Rates]
"""Rates of a catalogue in a number of draws."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Like:
    """What does not change with a number: the options that the plan takes, a few nodes of it, and draft."""

    table: pd.DataFrame
    ground: Ground
    draft: Draft
    tines: int

    @property
    def n_draws(self) -> int:
        """Draws of the pan."""
        return int(self.ground.present.shape[0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sample:
    """Ripped zones of a plan, each by a few nodes and draws."""

    context: Context
    pan: PanFeatures
    price: Price
    like: _Like
    economy: Economy
    """Of the options that the plan takes on those nodes, as shipped."""
    gain: Floats
    """(n_nodes, n_options): expected gain per ha there."""
    rates: Mapping[str, float]
    """Of `expected_rates`."""
    rows: Ints
    """(n_rows,): ripped rows of the context's table."""
    nodes: Sequence[Ints]
    """Positions of the nodes of each ripped row."""
    option: Ints
    """(n_rows,): position of the option taken there."""
    credit: Floats
    """(n_rows,): gain over that of breaking the pan alone."""
    asked: Sequence[tuple[After, ...]]
    """Work asked for after the pass in each ripped row."""


def money_moved(
    plan: Plan, zones: Zones, options: Options, evidence: Evidence, catalog: Catalog, *, rates: Rates, price: Price,
    asked: DecisionSettings,
) -> pd.DataFrame:  # fmt: skip
    """One row an unchecked number the plan rests on, largest first: `key` and `money`.

    The money is half the difference of the expected return between the ends of the number's range, or a tenth above and
    below it where none is stated, with zones, depths and set-ups as planned and all else as shipped.
    """
    soils = tuple(dict.fromkeys(plan.zones.loc[plan.zones["kind"] == "ground", "soil_type"]))
    table = shipped_numbers(catalog, soils)
    unchecked = set(table.loc[table["standing"].isin(UNCHECKED), "key"])
    told = list[tuple[str, float]]()
    if (plan.zones["depth_mm"] > 0).any():
        used = sorted({LEAVE, *_taken(plan, options)})
        context = build_context(zones, options, evidence, catalog, rates, asked=asked, only=used)
        sample = _sample(plan, context, evidence.pan, price, used)
        planned = _net(sample, "", (), catalog)
        for name, path, number in _open_numbers(context, plan):
            if (key := key_of(name, path)) in unchecked and number.value != 0.0:
                low, high = _ends(number)
                below = _net(sample, name, path, _with(catalog, name, path, number, low))
                if below != planned:  # what the low end does not move, the high one does not
                    above = _net(sample, name, path, _with(catalog, name, path, number, high))
                    told.append((key, abs(above - below) / 2.0))
    told = [(key, money) for key, money in told if money >= LEAST]
    moved = pd.DataFrame(told, columns=["key", "money"])
    return moved.sort_values("money", ascending=False, kind="stable", ignore_index=True)


def _ends(number: Quantity) -> tuple[float, float]:
    low, high = number.span
    return (low, high) if low < high else ((1.0 - TENTH) * number.value, (1.0 + TENTH) * number.value)


def _open_numbers(context: Context, plan: Plan) -> Iterator[tuple[str, Path, Quantity]]:
    """Numbers that this plan can hang on: not those of other soils, set-ups, drives and traffic, nor of the rules."""
    catalog, ripped = context.catalog, plan.zones[plan.zones["depth_mm"] > 0]
    fitted = {*ripped["setup"], catalog.response.reference.setup}
    lasts = ("persistence", "seasons")
    others: set[str | int] = {drive for drive in catalog.effort.slip if drive != catalog.tractor.drive}
    others |= {name if context.season.controlled_traffic else f"{name}_controlled" for name in lasts}
    others |= {"season", "between"}  # dry seasons leave the mean as it is; a pass between is not this one
    for name, part in parts_of(catalog, tuple(dict.fromkeys(ripped["soil_type"]))).items():
        head, _, entry = name.partition(".")
        if head not in {"rules", "lab", "water"} and (head != "setups" or entry in fitted):
            for path, number in numbers_of(part):
                if others.isdisjoint(path):
                    yield name, path, number


def _with(catalog: Catalog, name: str, path: Path, number: Quantity, value: float) -> Catalog:
    """The catalogue with one number at `value`; what the trials' rip shares with a set-up moves with it."""
    moved = number.model_copy(update={"value": value, "low": None, "high": None})
    head, _, entry = name.partition(".")
    field = {"tractors": "tractor", "rippers": "ripper"}.get(head, head)
    to = (entry, *path) if head == field and entry else path
    update = {field: _put(getattr(catalog, field), to, moved)}
    if head == "setups" and entry == catalog.response.reference.setup:
        update["reference_setup"] = _put(catalog.reference_setup, path, moved)
    return catalog.model_copy(update=update)


def _put(part: object, path: Path, number: Quantity) -> object:
    """`part` with the number at the end of `path` in place of its own."""
    if not path:
        return number
    first, rest = path[0], path[1:]
    if isinstance(part, Settings):
        return part.model_copy(update={str(first): _put(getattr(part, str(first)), rest, number)})
    if isinstance(part, Mapping):
        return {**part, first: _put(part[first], rest, number)}
    if isinstance(part, tuple):
        return tuple(_put(one, rest, number) if place == first else one for place, one in enumerate(part, start=1))
    return part


def _taken(plan: Plan, options: Options) -> list[int]:
    """Option of each ripped zone, row order of the plan."""
    of = {key: option for option, key in enumerate(zip(options.table["setup"], options.table["depth_mm"], strict=True))}
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    return [of[key] for key in zip(ripped["setup"], ripped["depth_mm"], strict=True)]


def _sample(plan: Plan, context: Context, pan: PanFeatures, price: Price, used: Sequence[int]) -> _Sample:
    planned = plan.zones.set_index("zone").loc[context.table["zone"]]
    rows = np.flatnonzero((planned["depth_mm"] > 0).to_numpy())
    taken = _taken(replace(plan, zones=planned.reset_index()), context.options)
    nodes, where, ha = list[int](), list[Ints](), list[float]()
    for row in rows:
        known = np.flatnonzero(context.zone_ha[row] > 0)
        few = known[np.linspace(0, known.size - 1, min(NODES, known.size)).round().astype(int)]
        where.append(np.arange(len(nodes), len(nodes) + few.size))
        nodes += few.tolist()
        ha += [float(context.zone_ha[row].sum()) / few.size] * few.size
    draws = _few(context.ground.present.shape[0])
    like = _Like(
        table=context.economy.table,
        ground=replace(context.ground.take(np.array(nodes)), ha=np.array(ha)).in_draws(draws),
        draft=replace(context.options.draft, factor=context.options.draft.factor[draws]),
        tines=int(plan.machine["tines"].iloc[0]),
    )
    catalog, facts = context.catalog, context.facts
    economy = _economy(context, pan, price(catalog, like.n_draws), catalog, like)
    met = [rules_met(context.judged, context.table.index[row]) for row in rows]
    return _Sample(
        context=context,
        pan=pan,
        price=price,
        like=like,
        economy=economy,
        gain=_gain(economy, catalog),
        rates=expected_rates(catalog),
        rows=rows,
        nodes=where,
        option=np.searchsorted(used, taken),
        credit=setup_credits(catalog, context.judged, facts)[1][rows, context.setup[taken], 1],
        asked=[asked_after(catalog.rules[number] for number in numbers) for numbers in met],
    )


def _few(n_draws: int) -> Ints:
    return np.linspace(0, n_draws - 1, min(DRAWS, n_draws)).round().astype(int)


def _economy(context: Context, pan: PanFeatures, rates: Rates, catalog: Catalog, like: _Like) -> Economy:
    return economy_of(
        like.table,
        like.ground,
        catalog,
        rates,
        loss=loss_of(context.ground, pan, catalog.response),
        draft=like.draft,
        tines=like.tines,
        moist_mm=context.economy.moist_mm,
    )


def _gain(economy: Economy, catalog: Catalog) -> Floats:
    depth_mm = economy.section["depth_mm"]
    useful = economy.ground.useful(depth_mm, into_clay_mm(economy.table, catalog), economy.pullable())
    return economy.totals(useful).gain


def _worth(rates: Rates, ground: Ground) -> Floats:
    """Expected worth of the reference rip on each soil type of the ground, (n_soils,)."""
    worth = rates.scenarios["worth_per_ha"].sel(soil_type=list(ground.soil_names))
    return np.asarray(worth.mean("draw").to_numpy())


def _worth_ratio(sample: _Sample, catalog: Catalog) -> Floats:
    """Worth of the reference rip on the soil of each node over what it is as shipped, (n_nodes,)."""
    ground = sample.like.ground
    before, now = (_worth(each, ground) for each in (sample.economy.rates, sample.price(catalog, sample.like.n_draws)))
    return np.asarray((now / np.where(before == 0.0, 1.0, before))[ground.soil])


def _net(sample: _Sample, name: str, path: Path, catalog: Catalog) -> float:
    """Expected return of the plan with the number at `path` of the table `name` changed in `catalog`, money.

    Only what hangs on that table is worked anew.
    """
    economy, gain, rates, like = sample.economy, sample.gain, sample.rates, sample.like
    head = name.partition(".")[0]
    if head in {"setups", "response"}:
        economy = _economy(sample.context, sample.pan, economy.rates, catalog, like)
        gain = _gain(economy, catalog)
    if head in {"effort", "tractors", "rippers"} and not set(path) & BOUGHT:
        economy = economy.pulled(catalog, like.draft, like.tines)
    if head in {"prices", "tractors", "rippers"}:
        rates = expected_rates(catalog)
    if head in {"soils", "crops"} or (head == "prices" and set(path) & WORTH):
        gain = gain * _worth_ratio(sample, catalog)[:, None]
    return _summed(sample, economy, gain, rates, catalog)


def _summed(
    sample: _Sample, economy: Economy, gain: Floats, rates: Mapping[str, float], catalog: Catalog
) -> float:  # fmt: skip
    ground, pulled = economy.ground, economy.pullable()
    turning = turning_time(economy, catalog, sample.context.table["length_m"].to_numpy(float))
    net = 0.0
    for place, (row, nodes) in enumerate(zip(sample.rows, sample.nodes, strict=True)):
        option, soil = sample.option[place], ground.soil[nodes]
        hours, litres = (work[:, :, option].mean(axis=1) for work in economy.work(turning[row]))
        points = economy.wear[option] * np.stack(
            [economy.passes[each].passes[option] for each in ground.soil_names]
        )  # fmt: skip
        cost = hours * rates["per_hour"] + litres * rates["per_litre"] + points * rates["wear_per_ha"]
        after = sum(rates.get(work.price, 0.0) for work in sample.asked[place])
        each = (sample.credit[place] * gain[nodes, option] - cost[soil] - after) * pulled[soil, option]
        net += float(ground.ha[nodes] @ each)
    return net
