"""The shipped tables with the configuration's overrides: soils, machines, prices, crops, rules, references."""

import difflib
from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

from hardpan.core.errors import SettingsError
from hardpan.core.settings import Settings, parse
from hardpan.core.shipped import shipped
from hardpan.records.catalog import Catalog, Source
from hardpan.records.machines import Effort, Ripper, SetUp, Tractor
from hardpan.records.prices import Crop, PriceTable
from hardpan.records.quantity import Quantity
from hardpan.records.response import Response
from hardpan.records.rules import Rule
from hardpan.records.soils import SoilType
from hardpan.run.config import Config, PriceSettings, read_toml

T = TypeVar("T")
S = TypeVar("S", bound=Settings)
Table = Mapping[str, Any]


def read_catalog(config: Config) -> Catalog:
    """All tables of `configs/` with the overrides of `config` applied.

    Raises
    ------
    SettingsError
        A name is not in its table (the nearest is named), an entry is incomplete, a price is negative, or prices stand
        in two currencies.
    """
    machine = config.machine
    crop = _pick(_entries(Crop, "crops"), config.season.crop, what="crop", where="[season] crop")
    prices = _prices(config.prices, crop)
    setups = _entries(SetUp, "setups")
    ripper_name, ripper = _machine(Ripper, machine.ripper, table="rippers", key="ripper")
    tractor_name, tractor = _machine(Tractor, machine.tractor, table="tractors", key="tractor")
    fitted = {name: _pick(setups, name, what="set-up", where=f"ripper {ripper_name}: setups") for name in ripper.setups}
    if machine.setup is not None:
        _pick(fitted, machine.setup, what="set-up", where="[machine] setup")
    water = _entries(Quantity, "water")
    response = parse(Response, _table("response"), file="response.toml")
    catalog = Catalog(
        soils=_soils(config.soil.types, water),
        tractor_name=tractor_name,
        tractor=_in_currency(tractor, config.prices, prices.currency, where=f"tractor {tractor_name}"),
        ripper_name=ripper_name,
        ripper=_in_currency(ripper, config.prices, prices.currency, where=f"ripper {ripper_name}"),
        setups=fitted,
        rules=tuple(parse(Rule, row, file="rules.toml") for row in _rows("rules", "rule")),
        effort=parse(Effort, _table("effort"), file="effort.toml"),
        response=response,
        reference_setup=_pick(setups, response.reference.setup, what="set-up", where="response.toml [reference]"),
        prices=_in_currency(prices, config.prices, prices.currency, where="prices.toml"),
        crop=crop,
        available_water=water,
        references=_entries(Source, "references"),
    )
    _refuse_impossible(catalog)
    return catalog


def _table(name: str) -> dict[str, Any]:
    return read_toml(shipped("configs") / f"{name}.toml")


def _rows(name: str, key: str) -> list[Table]:
    rows: list[Table] = _table(name).get(key, [])
    return rows


def _entries(model: type[S], name: str) -> dict[str, S]:
    return {key: parse(model, entry, file=f"{name}.toml [{key}]") for key, entry in _table(name).items()}


def _pick(table: Mapping[str, T], name: str, *, what: str, where: str) -> T:
    if name in table:
        return table[name]
    near = difflib.get_close_matches(name, table, n=1, cutoff=0.4)
    todo = f"did you mean {near[0]!r}?" if near else ""
    raise SettingsError(what=f"{what} {name!r} is not known", where=where, right=f"one of {', '.join(table)}", do=todo)


def _overlaid(base: Table, changes: Table, *, where: str) -> dict[str, Any]:
    """`base` with `changes`; a plain number takes the unit of the entry it replaces and the source "user"."""
    out, home = dict(base), str(_table("prices")["currency"])
    for key, new in changes.items():
        old = base.get(key)
        units = [entry.get("unit") if isinstance(entry, Mapping) else None for entry in (old, new)]
        if None not in units and units[0] != units[1] and home not in str(units[0]).split("/"):
            raise SettingsError(
                what=f"{key} is given in {units[1]}", where=where, right=str(units[0]), do=f"give it in {units[0]}"
            )
        plain = isinstance(new, int | float) and not isinstance(new, bool)
        out[key] = {"value": new, "unit": old["unit"], "source": "user"} if plain and isinstance(old, Mapping) else new
    return out


def _soils(changes: Mapping[str, Table], water: Table) -> dict[str, SoilType]:
    shipped_soils = _table("soils")
    soils = {}
    for name in [*shipped_soils, *(new for new in changes if new not in shipped_soils)]:
        where = f'[soil.types."{name}"]' if name in changes else f"soils.toml [{name}]"
        entry = _overlaid(shipped_soils.get(name, {}), changes.get(name, {}), where=where)
        _refuse_misspelt(name, entry, shipped_soils, where=where)
        soil = parse(SoilType, entry, file=where)
        _pick(water, soil.water_texture, what="water_texture", where=where)
        soils[name] = soil
    return soils


def _refuse_misspelt(name: str, entry: Table, shipped_soils: Table, *, where: str) -> None:
    """Refuse an incomplete new soil type whose name is nearly that of a shipped one."""
    missing = [key for key, field in SoilType.model_fields.items() if field.is_required() and key not in entry]
    near = difflib.get_close_matches(name, shipped_soils, n=1, cutoff=0.8)
    if missing and near:
        raise SettingsError(
            what=f"{name!r} is a new soil type and lacks {', '.join(missing)}",
            where=where,
            do=f"is it {near[0]!r} you mean?",
        )


def _machine(model: type[S], choice: str | Table, *, table: str, key: str) -> tuple[str, S]:
    """Name and entry; an inline table may start from a shipped entry with `like`."""
    entries, where = _table(table), f"[machine] {key}"
    if isinstance(choice, str):
        return choice, parse(model, _pick(entries, choice, what=key, where=where), file=f"{table}.toml [{choice}]")
    own = dict(choice)
    base = _pick(entries, str(own.pop("like")), what=key, where=f"{where}: like") if "like" in own else {}
    return f"own {key}", parse(model, _overlaid(base, own, where=where), file=where)


def _prices(given: PriceSettings, crop: Crop) -> PriceTable:
    base = _table("prices")
    if crop.price_per_t is not None:
        base["grain_per_t"] = crop.price_per_t.model_dump()
    currency = given.currency or base["currency"]
    plain = given.model_dump(exclude={"currency", "overrides", "exchange_rate"}, exclude_none=True)
    entries = {
        key: {"value": value, "unit": base[key]["unit"].replace(base["currency"], currency), "source": "user"}
        for key, value in plain.items()
    }
    return parse(PriceTable, {**base, **entries, **given.overrides, "currency": currency}, file="[prices]")


def _in_currency(model: S, given: PriceSettings, currency: str, *, where: str) -> S:
    """`model` with shipped money converted where the user's currency is another."""
    home = str(_table("prices")["currency"])
    if currency == home:
        if given.exchange_rate is not None:
            raise SettingsError(
                what=f"exchange_rate is given but money is in {home}", where="[prices]", do="give currency"
            )
        return model
    foreign = {name: quantity for name, quantity in _quantities(model) if home in quantity.unit.split("/")}
    if foreign and given.exchange_rate is None:
        raise SettingsError(
            what=f"{', '.join(foreign)} in {home}, but prices.currency is {currency}",
            where=where,
            do=f"give them in {currency}, or set prices.exchange_rate to the {currency} paid for one {home}",
        )
    return model.model_copy(
        update={n: _converted(q, given.exchange_rate or 1.0, home, currency) for n, q in foreign.items()}
    )


def _converted(money: Quantity, rate: float, home: str, currency: str) -> Quantity:
    scaled = {end: None if (x := getattr(money, end)) is None else x * rate for end in ("value", "low", "high")}
    note = f"{money.note} converted from {home} at {rate:g}".strip()
    return money.model_copy(update={**scaled, "unit": money.unit.replace(home, currency), "note": note})


def _quantities(model: Settings) -> Iterator[tuple[str, Quantity]]:
    yield from ((name, value) for name, value in model if isinstance(value, Quantity))


def _refuse_impossible(catalog: Catalog) -> None:
    """Refuse negative money, machines that are never used, and gains that grow or never come."""
    machines: dict[str, Settings] = {"tractor": catalog.tractor, "ripper": catalog.ripper}
    soils: dict[str, Settings] = {f"soil type {name}": soil for name, soil in catalog.soils.items()}
    for where, model in {"[prices]": catalog.prices, **machines}.items():
        for name, quantity in _quantities(model):
            if quantity.span[0] < 0:
                raise SettingsError(what=f"{name} = {quantity.span[0]:g} is negative", where=where, right="0 or more")
    for where, model in {**machines, **soils}.items():
        for name, quantity in _quantities(model):
            low, high = quantity.span
            if name in {"years", "hours_per_year", "seasons", "seasons_controlled"} and low <= 0:
                raise SettingsError(what=f"{name} must be above 0", where=where)
            if name in {"persistence", "persistence_controlled"} and not 0 <= low <= high <= 1:
                raise SettingsError(what=f"{name} is {low:g} to {high:g}", where=where, right="a share, 0 to 1")
