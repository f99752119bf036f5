"""The shipped tables with all that a configuration gives in place of their entries, and what that replaced."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from hardpan.core.errors import SettingsError
from hardpan.core.settings import Settings, parse
from hardpan.core.units import MONEY, currency_of
from hardpan.records.catalog import Replaced
from hardpan.records.decision import SeasonSettings
from hardpan.records.machines import Ripper, SetUp, Tractor
from hardpan.records.prices import Crop, PriceSettings
from hardpan.run.config import PaddockConfig
from hardpan.run.shipped_tables import (
    Table,
    Tables,
    overlaid,
    pick,
    read_table,
    replaced_numbers,
    tables_with,
    units_of,
)

_WHAT = {"crops": "crop", "rippers": "ripper", "setups": "set-up", "tractors": "tractor"}
"""Name for people of an entry of a table."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnTables:
    """Tables of `configs/` as one configuration has them."""

    tables: Tables
    tractor: str
    """Name of the entry that is taken."""
    ripper: str
    rotation: tuple[str, ...]
    """Names of the crops of the seasons in turn."""
    replaced: tuple[Replaced, ...]
    """Shipped numbers that the user replaced, by key."""


def own_tables(config: PaddockConfig) -> OwnTables:
    """Shipped tables with all that a user gives laid over them.

    `[numbers]` comes first, then soil types, prices, crop and machine as their own tables give them.

    Raises
    ------
    SettingsError
        A name or key is in no table (the nearest is named), an entry is incomplete, a number is given twice or not in
        its unit, or prices stand in two currencies.
    """
    _refuse_twice(config)
    own, machine = _Own(tables_with(config.numbers)), config.machine
    tractor = own.take("tractors", Tractor, "own tractor", machine.tractor, where="[machine] tractor")
    ripper = own.take("rippers", Ripper, "own ripper", machine.ripper, where="[machine] ripper")
    for name, given in machine.setups.items():
        own.take("setups", SetUp, name, given, where=f"[machine.setups.{name}]")
    rotation = tuple(own.take("crops", Crop, name, crop, where=where) for name, crop, where in _rotation(config.season))
    own.tables["soils"] = _own_soils(config.soil.types, own.tables["soils"])
    own.price_grain(rotation[0])
    own.tables["prices"] = _own_prices(config.prices, own.tables["prices"])
    return OwnTables(
        tables=own.tables, tractor=tractor, ripper=ripper, rotation=rotation, replaced=tuple(own.replaced())
    )


def _rotation(season: SeasonSettings) -> Iterator[tuple[str, str | Table, str]]:
    """Name for a table of one's own, choice, and key, of each crop in turn."""
    if season.rotation and "crop" in season.model_fields_set:
        raise SettingsError(
            what="crop and rotation are both given", where="[season]", do="give rotation, whose first is the next crop"
        )
    if not season.rotation:
        yield "own crop", season.crop, "[season] crop"
    for number, crop in enumerate(season.rotation, start=1):
        says = "" if isinstance(crop, str) else str(crop.get("says", crop.get("like", "crop")))
        yield f"own {says}", crop, f"[season] rotation, crop {number}"


class _Own:
    """Tables on their way to those of one configuration, and the shipped tables they are held against."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self.shipped = {name: read_table(name) for name in tables}

    def take(self, table: str, model: type[Settings], name: str, choice: str | Table, *, where: str) -> str:
        """Name of the entry chosen, or of that which a table of the user's own becomes."""
        entries, what = self.tables[table], _WHAT[table]
        if isinstance(choice, str):
            pick(entries, choice, what=what, where=where)
            return choice
        entries[name] = _own(model, choice, entries, table=table, what=what, where=where)
        if (like := str(choice.get("like", ""))) in self.shipped[table]:
            self.shipped[table][name] = self.shipped[table][like]
        return name

    def price_grain(self, crop: str) -> None:
        """Take the price of the next crop as that of grain, where it has one."""
        for tables in (self.tables, self.shipped):
            if price := tables["crops"].get(crop, {}).get("price_per_t"):
                tables["prices"]["grain_per_t"] = price

    def replaced(self) -> list[Replaced]:
        """Shipped numbers that are not used as shipped."""
        found = [one for name, own in self.tables.items() for one in replaced_numbers(self.shipped[name], own, name)]
        crops = {one.own for one in found if one.key.startswith("crops.")}
        # the price of a crop that was replaced is told there, and not a second time as that of grain
        return sorted(
            (one for one in found if one.key != "prices.grain_per_t" or one.own not in crops), key=lambda one: one.key
        )


def place(config: PaddockConfig, table: str, name: str = "") -> str:
    """Where an entry comes from, as a user would look for it."""
    own = config.numbers.given[table]
    if name and name in own:
        return f'[numbers.{table}."{name}"]'
    return f"[numbers.{table}]" if own and not name else f"{table}.toml{f' [{name}]' if name else ''}"


def _refuse_twice(config: PaddockConfig) -> None:
    """Refuse a number that stands both in `[numbers]` and in a table of its own."""
    numbers, types = config.numbers.given, config.soil.types
    given: dict[str, tuple[Table, Table]] = {"[prices]": (numbers["prices"], config.prices.entries)}
    for name, own in types.items():
        given[f'[soil.types."{name}"]'] = numbers["soils"].get(name, {}), own
    for where, (one, other) in given.items():
        if isinstance(one, Mapping) and (both := sorted(one.keys() & other.keys())):
            raise SettingsError(what=f"{', '.join(both)} stands here and in [numbers]", where=where, do="give it once")


def _own_soils(changes: Mapping[str, Table], table: Table) -> dict[str, Any]:
    units = units_of("soils", table)
    return {
        name: overlaid(
            table.get(name, {}), changes.get(name, {}), where=f'[soil.types."{name}"]', units=units, closed=False
        )
        for name in [*table, *(new for new in changes if new not in table)]
    }


def _own(model: type[Settings], choice: Table, entries: Table, *, table: str, what: str, where: str) -> dict[str, Any]:
    """Entry that a user describes; it may start from a shipped one with `like`."""
    given = dict(choice)
    base = pick(entries, str(given.pop("like")), what=what, where=f"{where}: like") if "like" in given else {}
    full = overlaid(base, given, where=where, units=units_of(table, entries), closed=False)
    missing = [key for key, field in model.model_fields.items() if field.is_required() and key not in full]
    if missing:
        raise SettingsError(
            what=f"{'key' if len(missing) == 1 else 'keys'} {', '.join(map(repr, missing))} "
            f"{'is' if len(missing) == 1 else 'are'} missing",
            where=where,
            do=f'give them, or start from a shipped one with like = "{next(iter(entries))}" ({", ".join(entries)})',
        )
    parse(model, full, file=where)
    return full


def _own_prices(given: PriceSettings, table: Table) -> dict[str, Any]:
    """Price table with what `[prices]` gives; a number of it without a currency is in that of `[prices]`."""
    currency = given.currency or table["currency"]
    entries = {
        key: number.model_dump(exclude_none=True) | {"unit": number.unit.replace(MONEY, currency)}
        for key, number in given.entries.items()
    }
    for key, number in {**table, **entries}.items():
        code = currency_of(number["unit"])[0] if isinstance(number, Mapping) and "unit" in number else None
        if code not in {None, currency, table["currency"]}:
            raise SettingsError(
                what=f"{key} is in {code}, but money is in {currency}", where="[prices]", do=f'set currency = "{code}"'
            )
    return overlaid(table, entries, where="[prices]", units={}, closed=False)
