"""What the page needs to work the plan out anew at other prices, as the run does."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from hardpan.core.arrays import Ints
from hardpan.core.said import Measure
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.units import Units
from hardpan.records.evidence import PaddockRun
from hardpan.records.quantity import Quantity
from hardpan.records.rules import After
from hardpan.spatial.polygons import side_by_side

_REACH = {"grain": (0.4, 2.0), "fuel": (0.4, 2.5), "gain": (0.0, 2.5), "cost": (0.4, 2.0)}
"""Ends of each slider, as shares of what the plan rests on."""

_MOST_DISCOUNT = 0.25
"""End of the slider of the discount rate, share a year, where the plan's own is not above it."""

_DISCOUNT_STEP = 0.005

_STEPS = 100
"""A step of a slider is the round number nearest to the plan's own value over this."""

_DIGITS = 6
"""Digits of the numbers on the page, whose own error is far larger."""

_PARTS = ("first", "second", "third", "fourth", "fifth", "sixth")
"""Parts of a sentence that the page fills in, in their order."""

_SAYINGS = ("rip", "leave", "and_leave", "return", "lose", "and", "range", "planned", "unmoved", "own_table")

_OWN = "own "
"""A machine that the user describes has a name that begins so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """A number that a slider moves, and the settings that follow it."""

    key: str
    says: str
    value: float
    """In the reader's unit."""
    step: float
    ends: tuple[float, float]
    unit: str
    settings: list[dict[str, Any]] = field(default_factory=list)
    """`table` and `key` of each setting, with `value`, `low`, `high` and `unit`; `note` where it is no line of its
    own."""


def what_if(run: PaddockRun, words: Words) -> dict[str, Any]:
    """Parts of the expected returns, prices, settings, units and sentences, as plain values."""
    makeup, units = run.plan.makeup, words.units
    return {
        "levers": [_told(lever) for lever in _levers(run, words)],
        "rate": run.catalog.prices.discount_rate.value,
        "seasons": _seasons(run.rates.by_season, makeup.soil_types),
        "further": run.catalog.prices.extra_zone.value,
        "rounds": makeup.rounds,
        "beside": _beside(run),
        "must_pay": makeup.must_pay,
        "fitted": makeup.setups_fitted,
        "change": makeup.change,
        "names": _names(run, words),
        "total_ha": float(run.plan.zones["area_ha"].sum()),
        "zones": _zones(run),
        "units": _units(units),
        "say": _sayings(words),
    }


def _told(lever: Lever) -> dict[str, Any]:
    low, high = (round((end - lever.value) / lever.step) for end in lever.ends)
    return {
        "key": lever.key, "says": lever.says, "value": lever.value, "step": lever.step, "unit": lever.unit,
        "decimals": max(0, -int(np.floor(np.log10(lever.step)))),
        "least": max(low, -int(lever.value / lever.step)), "most": max(high, 1), "settings": lever.settings,
    }  # fmt: skip


def _levers(run: PaddockRun, words: Words) -> Iterable[Lever]:
    prices, units, say = run.catalog.prices, words.units, words.page.label
    for key, name, price in (("grain", "grain_per_t", prices.grain_per_t), ("fuel", "fuel_per_l", prices.fuel_per_l)):
        scale = units.of_unit(price.unit)
        value = price.value / scale.size
        # a price of grain is that of one crop: where others follow, the gain is what moves them all
        if value <= 0.0 or (key == "grain" and len(set(run.catalog.rotation)) > 1):
            continue
        yield Lever(
            key=key, says=say(f"what_if_{key}"), value=value, step=_nice(value / _STEPS), unit=scale.unit,
            ends=(_REACH[key][0] * value, _REACH[key][1] * value), settings=[_setting("prices", name, price, units)],
        )  # fmt: skip
    for key, settings in (("gain", _gains(run, units)), ("cost", _costs(run, units))):
        low, high = _REACH[key]
        yield Lever(
            key=key, says=say(f"what_if_{key}"), value=100.0, step=1.0, unit="%", ends=(100.0 * low, 100.0 * high),
            settings=list(settings),
        )  # fmt: skip
    rate = prices.discount_rate
    yield Lever(
        key="discount", says=say("what_if_discount"), value=100.0 * rate.value, step=100.0 * _DISCOUNT_STEP, unit="%",
        ends=(0.0, 100.0 * max(_MOST_DISCOUNT, rate.value)),
        settings=[_setting("prices", "discount_rate", rate, units)],
    )  # fmt: skip


def _gains(run: PaddockRun, units: Units) -> Iterable[dict[str, Any]]:
    ground = run.plan.zones[run.plan.zones["kind"] != "exclusion"]
    for name in dict.fromkeys(ground["soil_type"]):
        gain = run.catalog.soils[name].first_year_gain
        yield _setting(f"soil.types.{_quoted(name)}", "first_year_gain", gain, units)


def _costs(run: PaddockRun, units: Units) -> Iterable[dict[str, Any]]:
    """What everything but fuel costs by: labour, wear, setting of zones, and what the machines are bought for."""
    catalog = run.catalog
    asked = [work.price for work in After if (run.ledger.lines["item"] == work).any()]
    for name in ("labour_per_h", "wear_per_ha", *asked, "extra_zone"):
        yield _setting("prices", name, getattr(catalog.prices, name), units)
    machines = {
        "tractor": (catalog.tractor_name, catalog.tractor.list_price),
        "ripper": (catalog.ripper_name, catalog.ripper.list_price),
    }
    for what, (name, price) in machines.items():
        like = "" if name.startswith(_OWN) else name
        yield _setting("machine", "list_price", price, units) | {"of": what, "like": like}


def _setting(table: str, key: str, number: Quantity, units: Units) -> dict[str, Any]:
    """A setting with its range, None where the plan knows none."""
    scale = units.of_unit(number.unit)
    ends = {"low": number.low, "value": number.value, "high": number.high}
    told = {name: None if end is None else _short(end / scale.size) for name, end in ends.items()}
    return {"table": table, "key": key, "unit": scale.unit, **told}


def _seasons(by_season: pd.DataFrame, soil_types: tuple[str, ...]) -> list[list[float]]:
    """Expected gain of each season, not discounted, by soil type."""
    return [by_season.loc[by_season["soil_type"] == name, "money_per_ha"].map(_short).tolist() for name in soil_types]


def _zones(run: PaddockRun) -> list[dict[str, Any]]:
    """Each zone of ground with the options it may be given."""
    makeup, zones, setups = run.plan.makeup, run.plan.zones.set_index("zone"), list(run.catalog.setups)
    eligible = dict(zip(makeup.zone.tolist(), makeup.eligible, strict=True))
    return [
        {
            "zone": int(number),
            "ha": float(zones.loc[number, "area_ha"]),
            "depth": float(zones.loc[number, "depth_mm"]),
            "setup": setups.index(zones.loc[number, "setup"]) if zones.loc[number, "setup"] else -1,
            **_options(run, place, np.flatnonzero(eligible[number])),
        }
        for place, number in enumerate(makeup.zone.tolist())
        if zones.loc[number, "kind"] == "ground"
    ]


def _beside(run: PaddockRun) -> list[list[int]]:
    """Pairs of zones of ground that share a border, by their places among them."""
    ground = run.plan.zones.loc[run.plan.zones["kind"] == "ground"]
    return [
        list(pair) for pair in zip(*(ends.tolist() for ends in side_by_side(ground.geometry.to_numpy())), strict=True)
    ]


def _options(run: PaddockRun, place: int, options: Ints) -> dict[str, list[Any]]:
    """Columns of the options of the zone in one place."""
    plan, makeup, setups = run.plan, run.plan.makeup, list(run.catalog.setups)
    table = plan.candidates.iloc[options]
    money = ("fuel", "capital", "other", "hours", "fuel_l")
    return {
        "depths": table["depth_mm"].astype(float).tolist(),
        "setups": [setups.index(name) for name in table["setup"]],
        "gain": [[_short(one) for one in row] for row in makeup.gain[place, options]],
        **{name: [_short(one) for one in getattr(makeup, name)[place, options]] for name in money},
    }


def _names(run: PaddockRun, words: Words) -> dict[str, Any]:
    """Set-ups and depths in words."""
    depths = sorted({float(depth) for depth in run.plan.candidates["depth_mm"] if depth > 0})
    return {
        "leave": words.page.depth(0.0),
        "setups": [words.zones.setup(name) for name in run.catalog.setups],
        "depths": {f"{depth:g}": [words.units.depth(depth, bare=True), words.units.depth(depth)] for depth in depths},
    }


def _units(units: Units) -> dict[str, Any]:
    """Size of the reader's units in those inside, and their names."""
    area, fuel = units.scale(Measure.AREA), units.scale(Measure.VOLUME)
    return {
        "area": [area.size, area.unit],
        "fuel": [fuel.size, fuel.unit],
        "sign": units.sign,
        "money": [1.0 / units.per_area_of(1.0), units.money_per_area],
    }


def _sayings(words: Words) -> dict[str, str]:
    """Sentences whose parts, %1, %2 and so on, the page fills in."""
    parts = {name: f"%{number}" for number, name in enumerate(_PARTS, start=1)}
    return {key: words.page.label(f"what_if_{key}", **parts) for key in _SAYINGS}


def _nice(step: float) -> float:
    """Round number, 1, 2 or 5 times a power of ten, not above `step`."""
    power = 10.0 ** np.floor(np.log10(step))
    return float(max(one for one in (1.0, 2.0, 5.0) if one * power <= step * (1.0 + 1e-9)) * power)


def _quoted(name: str) -> str:
    """Key of a table in a configuration."""
    return json.dumps(name, ensure_ascii=False)


def _short(number: float) -> float:
    return float(f"{number:.{_DIGITS}g}")
