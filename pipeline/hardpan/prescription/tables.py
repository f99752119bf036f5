"""The plan's tables of moisture, candidates and shipped numbers, and what the decision table asks for in each zone."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TypeAlias

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.settings import Settings
from hardpan.money import spread_rates
from hardpan.options import MEASURED, ZoneEvaluation, moist_depth_mm
from hardpan.prescription.context import Context
from hardpan.records.advice import Condition, Known, Met, Spread, Verdict
from hardpan.records.catalog import Catalog
from hardpan.records.decision import SeasonSettings
from hardpan.records.quantity import Quantity
from hardpan.records.reasons import Left, Limit, Reason
from hardpan.records.weather import SoilWater

Path: TypeAlias = tuple[str | int, ...]
"""Keys that lead to a number within a table's entry."""

SPREADS = ("lime", "gypsum")
"""What is spread, in the order it is told."""


def moisture_table(context: Context, plan: gpd.GeoDataFrame, reasons: Sequence[Reason]) -> pd.DataFrame:
    """Verdict on moisture, one row a zone, columns of `Plan.moisture`."""
    rain = np.nan if context.season.rain_since_dry_mm is None else context.season.rain_since_dry_mm
    rows = []
    for row, (zone, reason) in enumerate(zip(plan.itertuples(), reasons, strict=True)):
        depth_mm = zone.depth_mm or _awaited_mm(reason)
        window = moisture_window(
            depth_mm, context.season, context.water(row), context.soil_water(row), repellent=context.repellent(row)
        )
        rows.append({"zone": zone.zone, "depth_mm": depth_mm, **asdict(window), "rain_mm": rain})
    return pd.DataFrame(rows)


def _awaited_mm(reason: Reason) -> int:
    """Shallowest depth that ground waits for which is left because it is too dry, 0 where it does not wait."""
    barred = reason.why.barred if isinstance(reason.why, Left) else None
    return int(barred.from_mm) if barred is not None and barred.limit is Limit.MOIST else 0


def candidate_table(context: Context, evaluation: ZoneEvaluation) -> pd.DataFrame:
    """One row a zone and option, columns of `Plan.candidates`."""
    table = context.options.table
    n_zones, n_options = evaluation.net.shape
    allowed = np.isfinite(evaluation.net)
    held = evaluation.held.ravel()
    return pd.DataFrame(
        {
            "zone": np.repeat(context.table["zone"].to_numpy(), n_options),
            "option": np.tile(table["option"].to_numpy(), n_zones),
            "setup": np.tile(table["setup"].to_numpy(), n_zones),
            "depth_mm": np.tile(table["depth_mm"].to_numpy(), n_zones),
            "net_per_ha": np.where(allowed, evaluation.net, np.nan).ravel(),
            "cost_per_ha": evaluation.cost.ravel(),
            "loosened_share": evaluation.loosened.ravel(),
            "breach_probability": evaluation.breach.ravel(),
            "allowed": allowed.ravel(),
            "limit": ["" if one is None else str(one.limit) for one in held],
            "limit_value": [np.nan if one is None else one.value for one in held],
            "limit_unit": ["" if one is None else one.limit.unit for one in held],
            "limit_name": ["" if one is None else one.name for one in held],
        }
    )


def conditions_of(context: Context, setups: Sequence[str]) -> tuple[Condition, ...]:
    """Rules met or open in each zone of ground, then the amounts to spread that no rule asks for.

    What is said of lime or gypsum follows the first rule met in the zone that asks for it. What ripping
    would mend is not told where nothing is ripped.

    Parameters
    ----------
    setups : (n_zones,)
        Key of the set-up each zone is worked with, "" where it is left.
    """
    place_of = dict(zip(context.table.index, range(len(context.table)), strict=True))
    told = {place: _spreads(context, place, ripped=bool(setups[place])) for place in _ground(context)}
    conditions = []
    for label, number, met, chance in context.judged[context.judged["met"] != Met.NO].itertuples(index=False):
        place, rule = place_of[label], context.catalog.rules[number]
        if place not in told or (met == Met.YES and not rule.not_fixed and not setups[place]):
            continue
        asks = met == Met.YES and rule.spreads is not None
        spread = told[place].pop(rule.spreads, None) if asks else None
        condition = _condition(context, place, number, met=Met(met), chance=chance, spread=spread)
        conditions.append(replace(condition, setup=setups[place]))
    conditions += [
        Condition(zone=_zone(context, place), met=Met.YES, spread=spread)
        for place, spreads in told.items()
        for spread in spreads.values()
        if spread.rate is not None
    ]
    return tuple(conditions)


def _condition(
    context: Context, place: int, number: int, *, met: Met, chance: float, spread: Spread | None
) -> Condition:
    rule, facts = context.catalog.rules[number], context.facts.iloc[place]
    known = {name: float(facts.get(name, np.nan)) for name in rule.when}
    measured = any(name in MEASURED for name in rule.when)
    return Condition(
        zone=_zone(context, place),
        met=met,
        constraint=rule.constraint,
        known={name: value for name, value in known.items() if not np.isnan(value)},
        missing=tuple(name for name, value in known.items() if np.isnan(value)),
        cores=int(context.facts["cores"].iloc[place]) if measured else None,
        cores_of=str(context.facts["cores_of"].iloc[place]) if measured else "",
        spread=spread,
        chance=1.0 if met == Met.UNKNOWN else chance,
    )


def _spreads(context: Context, place: int, *, ripped: bool) -> dict[str | None, Spread]:
    """Lime and gypsum on the soil of one zone."""
    soil_type = str(context.table["soil_type"].iloc[place])
    rates = spread_rates(context.catalog.soils[soil_type], context.catalog.prices.gypsum_per_meq)
    return {item: Spread(item=item, soil_type=soil_type, rate=rates.get(item), ripped=ripped) for item in SPREADS}


def _ground(context: Context) -> Iterator[int]:
    yield from map(int, np.flatnonzero(context.table["kind"] == "ground"))


def _zone(context: Context, place: int) -> int:
    return int(context.table["zone"].iloc[place])


def parts_of(catalog: Catalog, soil_types: tuple[str, ...]) -> dict[str, object]:
    """What of the catalogue a decision on these soil types rests on, by table and entry."""
    return {
        f"tractors.{catalog.tractor_name}": catalog.tractor,
        f"rippers.{catalog.ripper_name}": catalog.ripper,
        **{f"setups.{name}": setup for name, setup in catalog.setups.items()},
        "effort": catalog.effort,
        **{f"soils.{name}": catalog.soils[name] for name in soil_types},
        **{
            f"water.{catalog.soils[name].water_texture}": catalog.available_water[catalog.soils[name].water_texture]
            for name in soil_types
        },
        **{f"crops.{name}": crop for name, crop in catalog.crops.items()},
        "response": catalog.response,
        "lab": catalog.lab,
        **{f"rules.{rule.constraint}": rule for rule in catalog.rules},
        "prices": catalog.prices,
    }


def numbers_of(part: object, path: Path = ()) -> Iterator[tuple[Path, Quantity]]:
    """Every number of a part of the catalogue with the keys that lead to it; of a row, its place from 1."""
    if isinstance(part, Quantity):
        yield path, part
    elif isinstance(part, Settings):
        for name, inner in part:
            yield from numbers_of(inner, (*path, name))
    elif isinstance(part, Mapping):
        for name, inner in part.items():
            yield from numbers_of(inner, (*path, name))
    elif isinstance(part, tuple):
        for number, inner in enumerate(part, start=1):
            yield from numbers_of(inner, (*path, number))


def key_of(name: str, path: Path) -> str:
    """Table, entry and key of a number, with dots between."""
    return ".".join((name, *map(str, path)))


def shipped_numbers(catalog: Catalog, soil_types: tuple[str, ...]) -> pd.DataFrame:
    """`key`, `value`, `unit`, `source`, `standing` of every number the decision rests on that is not the user's.

    `standing` is that of the source in references.toml, or the source itself where it is no reference ("common
    practice", "unverified", "design").
    """
    own = {one.key for one in catalog.replaced}
    rows = [
        {
            "key": key,
            "value": number.value,
            "unit": number.unit,
            "source": number.source,
            "standing": catalog.references[number.source].standing
            if number.source in catalog.references
            else number.source,
        }
        for name, part in parts_of(catalog, soil_types).items()
        for path, number in numbers_of(part)
        if number.source != "user" and (key := key_of(name, path)) not in own
    ]
    return pd.DataFrame(rows, columns=["key", "value", "unit", "source", "standing"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The verdict for one zone."""

    verdict: Verdict
    known: Known
    moist_depth_mm: float = np.nan
    """NaN where not known."""
    rain_needed_mm: float = np.nan


def moisture_window(
    depth_mm: float,
    season: SeasonSettings,
    available_water: Quantity | None,
    water: SoilWater | None = None,
    *,
    repellent: bool,
) -> Window:
    """Verdict for a zone worked to `depth_mm`; never from the surface alone.

    `water` is what the season's weather says, and is asked where nobody tested the soil by hand.
    """
    if depth_mm <= 0 or available_water is None:
        return Window(verdict=Verdict.NOT_RIPPED, known=Known.NOT_RIPPED)
    if season.too_wet:
        return Window(verdict=Verdict.TOO_WET, known=Known.HAND_TEST, rain_needed_mm=0.0)
    moist, known = moist_depth_mm(season, available_water, water, repellent=repellent)
    if np.isnan(moist):
        return Window(verdict=Verdict.UNKNOWN, known=known)
    reckoned = water if known is Known.WEATHER else None
    if reckoned is not None and season.too_wet is None:
        verdict, known = _passing(reckoned, known)
    else:
        verdict = Verdict.READY
    if moist >= depth_mm or verdict is Verdict.TOO_WET:
        return Window(verdict=verdict, known=known, moist_depth_mm=moist, rain_needed_mm=0.0)
    rain = (depth_mm - moist) / 10.0 * available_water.value
    if reckoned is None:
        return Window(verdict=Verdict.WAIT, known=known, moist_depth_mm=moist, rain_needed_mm=rain)
    return Window(
        verdict=Verdict.TOO_DRY if reckoned.untouched else Verdict.WAIT,
        known=Known.WEATHER,
        moist_depth_mm=moist,
        rain_needed_mm=rain + reckoned.surface_lacks_mm,
    )


def _passing(water: SoilWater, known: Known) -> tuple[Verdict, Known]:
    """Verdict on soil that is moist deep enough: whether water still moves through it or stands on clay."""
    if water.perched:
        return Verdict.TOO_WET, Known.PERCHED
    return (Verdict.WAIT, Known.DRAINING) if water.draining else (Verdict.READY, known)
