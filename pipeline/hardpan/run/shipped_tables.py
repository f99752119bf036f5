"""The shipped tables of numbers, and a user's own numbers laid over them by key."""

import difflib
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, TypeAlias, TypeGuard, TypeVar

from hardpan.core.errors import SettingsError
from hardpan.core.settings import parse
from hardpan.core.shipped import shipped
from hardpan.records.catalog import Replaced
from hardpan.records.quantity import Quantity, entry
from hardpan.records.soils import SoilType
from hardpan.run.config import NumberSettings, read_toml

T = TypeVar("T")
Table: TypeAlias = Mapping[str, Any]
Tables: TypeAlias = dict[str, dict[str, Any]]
"""Content of the files of `configs/`, by the name of the file."""

FLAT = ("balance", "effort", "lab", "prices", "response", "usual", "water")
"""Tables that are one entry; the others have one entry a name."""


def read_table(name: str) -> dict[str, Any]:
    """Shipped table, the rows of the decision table by their constraint."""
    return dict(_shipped_table(name))


@cache
def _shipped_table(name: str) -> dict[str, Any]:
    table: dict[str, Any] = read_toml(shipped("configs") / f"{name}.toml")
    return {row["constraint"]: row for row in table["rule"]} if name == "rules" else table


def tables_with(numbers: NumberSettings) -> Tables:
    """Shipped tables with a user's `[numbers]` in place of those of the same key.

    Raises
    ------
    SettingsError
        A key is in no table (the nearest is named), or what is given is no number of its unit.
    """
    return {name: _with(name, read_table(name), own) for name, own in numbers.given.items()}


def _with(name: str, table: dict[str, Any], given: Table) -> dict[str, Any]:
    if name in FLAT:
        return overlaid(table, given, where=f"[numbers.{name}]", units={}, closed=True)
    out, units = dict(table), units_of(name, table)
    for key, changes in given.items():
        where = f'[numbers.{name}."{key}"]'
        base = pick(table, key, what=f"entry of {name}", where=f"[numbers.{name}]")
        if not isinstance(changes, Mapping):
            raise SettingsError(what=f"{key} = {changes!r} cannot be used", where=where, right="a table of numbers")
        out[key] = overlaid(base, changes, where=where, units=units, closed=True)
    return out


def units_of(name: str, table: Table) -> dict[str, str]:
    """Unit of every number that an entry of a table has or, as others of the table do, may have."""
    fields = SoilType.model_fields.items() if name == "soils" else ()
    found = {key: str(x["unit"]) for key, field in fields if isinstance(x := field.json_schema_extra, dict)}
    for row in table.values():
        found |= {key: str(number["unit"]) for key, number in row.items() if _is_number(number)}
    return found


def overlaid(base: Table, changes: Table, *, where: str, units: Mapping[str, str], closed: bool) -> dict[str, Any]:
    """`base` with `changes`: numbers, texts with a unit and tables, all in the unit the shipped number has.

    A number of one's own is better known in the middle, and not known for certain: without a range and a source it
    keeps the range of the shipped one in proportion. Who knows it exactly says so, with `low` and `high` equal to it.

    Parameters
    ----------
    units : mapping
        Units of numbers that `base` may lack.
    closed : bool
        Whether a key that is in neither of them is refused; if not, the record of the entry judges it.
    """
    out = dict(base)
    for key, new in changes.items():
        if closed and key not in base and key not in units:
            pick({**base, **units}, key, what="key", where=where)
        old = base.get(key, {"unit": units[key]} if key in units else None)
        out[key] = _replaced(old, new, key=key, where=where)
    return out


def _replaced(old: object, new: object, *, key: str, where: str) -> object:
    if _is_number(old):
        return _number(old, new, key=key, where=where)
    right = ""
    if isinstance(old, list) and all(map(_is_number, old)):
        if isinstance(new, list) and len(new) == len(old):
            return [_number(one, other, key=key, where=where) for one, other in zip(old, new, strict=True)]
        right = f"a list of {len(old)} numbers"
    elif isinstance(old, Mapping):
        if isinstance(new, Mapping):
            inner = f"{where.removesuffix(']')}.{key}]" if where.endswith("]") else f"{where}.{key}"
            return overlaid(old, new, where=inner, units={}, closed=True)
        right = f"a table with {', '.join(old)}"
    if right:
        raise SettingsError(what=f"{key} = {new!r} cannot be used", where=where, right=right)
    return new


def _number(old: Table, new: object, *, key: str, where: str) -> object:
    try:
        own = entry(new, str(old["unit"]))
    except ValueError as err:
        raise SettingsError(what=f"{key} = {new!r} cannot be used", where=where, right=str(err)) from err
    if not _is_number(own):
        right = f"a number in {old['unit']}, a text with its unit, or a table of value, unit, low, high and source"
        raise SettingsError(what=f"{key} = {new!r} cannot be used", where=where, right=right)
    ranged = _ranged(own, old)
    parse(Quantity, ranged, file=f"{where} {key}")
    return ranged


def _ranged(own: Table, old: Table) -> Table:
    """Range in proportion to the value; of a share, within 0 and 1; none where proportion says nothing."""
    value, low, high = own.get("value"), old.get("low"), old.get("high")
    given = own["source"] != "user" or own.get("low") is not None or own.get("high") is not None
    if given or not isinstance(value, int | float) or (low is None and high is None):
        return own
    share = str(own["unit"]).split("/")[0] == "share"
    if value * old["value"] <= 0 or (share and value > 1):
        return own
    ratio = value / old["value"]
    ends = sorted(value if end is None else end * ratio for end in (low, high))
    if share:
        ends = [min(max(end, 0.0), 1.0) for end in ends]
    return {**own, "low": min(ends[0], value), "high": max(ends[1], value)}


def _is_number(entry: object) -> TypeGuard[Table]:
    return isinstance(entry, Mapping) and "unit" in entry


def replaced_numbers(old: object, own: object, key: str) -> Iterator[Replaced]:
    """Numbers of `own` that stand in place of other numbers of `old`."""
    if _is_number(old) and _is_number(own):
        if old != own:
            yield Replaced(key=key, shipped=parse(Quantity, old, file=key), own=parse(Quantity, own, file=key))
    elif isinstance(old, Mapping) and isinstance(own, Mapping):
        for name in own.keys() & old.keys():
            yield from replaced_numbers(old[name], own[name], f"{key}.{name}")
    elif isinstance(old, list) and isinstance(own, list):
        for place, pair in enumerate(zip(old, own, strict=False), start=1):
            yield from replaced_numbers(*pair, f"{key}.{place}")
    elif old != own and isinstance(old, int | float) and isinstance(own, int | float) and not isinstance(own, bool):
        yield Replaced(key=key, shipped=old, own=own)


def pick(table: Mapping[str, T], name: str, *, what: str, where: str) -> T:
    """Entry of a table.

    Raises
    ------
    SettingsError
        It has none of that name; the nearest is named.
    """
    if name in table:
        return table[name]
    near = difflib.get_close_matches(name, table, n=1, cutoff=0.4)
    todo = f"did you mean {near[0]!r}?" if near else ""
    raise SettingsError(what=f"{what} {name!r} is not known", where=where, right=f"one of {', '.join(table)}", do=todo)
