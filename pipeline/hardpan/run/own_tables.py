"""The shipped tables with all that a configuration gives in place of their entries, and what that replaced."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from hardpan.core.amounts import MONEY, currency_of
from hardpan.core.errors import SettingsError
from hardpan.core.settings import Settings, parse
from hardpan.records.catalog import Replaced
from hardpan.records.machines import Ripper, SetUp, Tractor
from hardpan.records.prices import Crop
from hardpan.run.config import Config, PriceSettings
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnTables:
    """Tables of `configs/` as one configuration has them."""

    tables: Tables
    chosen: Mapping[str, str]
    """Name of the entry taken of "crops", "rippers" and "tractors"."""
    replaced: tuple[Replaced, ...]
    """Shipped numbers that the user replaced, by key."""


def own_tables(config: Config) -> OwnTables:
    """Shipped tables with all that a user gives laid over them.

    `[numbers]` comes first, then soil types, prices, crop and machine as their own tables give them.

    Raises
    ------
    SettingsError
        A name or key is in no table (the nearest is named), an entry is incomplete, a number is given twice or not in
        its unit, or prices stand in two currencies.
    """
    tables, likes = tables_with(config.numbers), dict[str, dict[str, str]]()
    _refuse_twice(config)
    chosen = {}
    for table, (model, what, choice, where) in _choices(config).items():
        chosen[table] = choice if isinstance(choice, str) else f"own {what}"
        if isinstance(choice, str):
            pick(tables[table], choice, what=what, where=where)
        else:
            likes[table] = {chosen[table]: str(choice.get("like", ""))}
            tables[table] |= {chosen[table]: _own(model, choice, tables[table], table=table, what=what, where=where)}
    for name, given in config.machine.setups.items():
        where = f"[machine.setups.{name}]"
        likes.setdefault("setups", {})[name] = str(given.get("like", ""))
        tables["setups"] |= {name: _own(SetUp, given, tables["setups"], table="setups", what="set-up", where=where)}
    tables["soils"] = _own_soils(config.soil.types, tables["soils"])
    tables["prices"] = _own_prices(config.prices, tables["prices"])
    return OwnTables(tables=tables, chosen=chosen, replaced=_replaced(tables, likes))


def _choices(config: Config) -> Mapping[str, tuple[type[Settings], str, str | Table, str]]:
    """Record, name for people, choice and its key, of each table of which one entry is taken."""
    machine = config.machine
    return {
        "crops": (Crop, "crop", config.season.crop, "[season] crop"),
        "rippers": (Ripper, "ripper", machine.ripper, "[machine] ripper"),
        "tractors": (Tractor, "tractor", machine.tractor, "[machine] tractor"),
    }


def place(config: Config, table: str, name: str = "") -> str:
    """Where an entry comes from, as a user would look for it."""
    own = config.numbers.given[table]
    if name and name in own:
        return f'[numbers.{table}."{name}"]'
    return f"[numbers.{table}]" if own and not name else f"{table}.toml{f' [{name}]' if name else ''}"


def _refuse_twice(config: Config) -> None:
    """Refuse a number that stands both in `[numbers]` and in a table of its own."""
    numbers, types = config.numbers.given, config.soil.types
    given: dict[str, tuple[Table, Table]] = {"[prices]": (numbers["prices"], config.prices.entries)}
    for name, own in types.items():
        given[f'[soil.types."{name}"]'] = numbers["soils"].get(name, {}), own
    for where, (one, other) in given.items():
        if isinstance(one, Mapping) and (both := sorted(one.keys() & other.keys())):
            raise SettingsError(what=f"{', '.join(both)} stands here and in [numbers]", where=where, do="give it once")


def _replaced(tables: Tables, likes: Mapping[str, Mapping[str, str]]) -> tuple[Replaced, ...]:
    """Shipped numbers that are not used as shipped; an entry like another is held against that one."""
    found: list[Replaced] = []
    for name, own in tables.items():
        old = read_table(name)
        old |= {entry: old[like] for entry, like in likes.get(name, {}).items() if like in old}
        found += replaced_numbers(old, own, name)
    return tuple(sorted(found, key=lambda one: one.key))


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
