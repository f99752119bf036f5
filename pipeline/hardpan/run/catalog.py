"""The shipped tables with the configuration's overrides: soils, machines, prices, crops, rules, references."""

import difflib
from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

from hardpan.core.amounts import MONEY, currency_of
from hardpan.core.errors import SettingsError
from hardpan.core.settings import Settings, parse
from hardpan.core.shipped import shipped
from hardpan.records.catalog import Catalog, Source
from hardpan.records.machines import Effort, Ripper, SetUp, Tractor
from hardpan.records.prices import Crop, PriceTable
from hardpan.records.quantity import Quantity, entry
from hardpan.records.response import Response
from hardpan.records.rules import Rule
from hardpan.records.soils import SoilType
from hardpan.run.config import Config, PriceSettings, read_toml
from hardpan.run.ranges import keep_ranges

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
    _, crop = _chosen(Crop, config.season.crop, table="crops", what="crop", where="[season] crop")
    prices = _prices(config.prices, crop)
    own = {
        name: _own(SetUp, entry, table="setups", what="set-up", where=f"[machine.setups.{name}]")
        for name, entry in machine.setups.items()
    }
    setups = _entries(SetUp, "setups") | own
    ripper_name, ripper = _chosen(Ripper, machine.ripper, table="rippers", what="ripper", where="[machine] ripper")
    tractor_name, tractor = _chosen(
        Tractor, machine.tractor, table="tractors", what="tractor", where="[machine] tractor"
    )
    ripper = ripper.model_copy(update={"setups": tuple(dict.fromkeys([*ripper.setups, *own]))})
    fitted = {name: _pick(setups, name, what="set-up", where=f"ripper {ripper_name}: setups") for name in ripper.setups}
    if machine.setup is not None:
        _pick(fitted, machine.setup, what="set-up", where="[machine] setup")
    water = _entries(Quantity, "water")
    response = parse(Response, _table("response"), file="response.toml")
    soils = _soils(config.soil.types, water)
    prices = _without_unused(prices, soils, config.prices)
    catalog = Catalog(
        soils=soils,
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


def _overlaid(base: Table, changes: Table, *, table: str, where: str) -> dict[str, Any]:
    """`base` with `changes`: numbers, texts with a unit and tables, all in the unit the shipped `table` has them in."""
    units, out = _units(table), dict(base)
    for key, new in changes.items():
        try:
            out[key] = entry(new, units[key]) if key in units else new
        except ValueError as err:
            raise SettingsError(what=f"{key} = {new!r} cannot be used", where=where, right=str(err)) from err
    return out


def _units(table: str) -> dict[str, str]:
    """Unit of every number of the entries of a shipped table, and of those that only its record names."""
    fields = SoilType.model_fields.items() if table == "soils" else ()
    found = {key: str(x["unit"]) for key, field in fields if isinstance(x := field.json_schema_extra, dict)}
    for row in _table(table).values():
        found |= {key: str(number["unit"]) for key, number in row.items() if isinstance(number, Mapping)}
    return found


def _soils(changes: Mapping[str, Table], water: Table) -> dict[str, SoilType]:
    shipped_soils = _table("soils")
    soils = {}
    for name in [*shipped_soils, *(new for new in changes if new not in shipped_soils)]:
        where = f'[soil.types."{name}"]' if name in changes else f"soils.toml [{name}]"
        entry = _overlaid(shipped_soils.get(name, {}), changes.get(name, {}), table="soils", where=where)
        _refuse_misspelt(name, entry, shipped_soils, where=where)
        soil = keep_ranges(parse(SoilType, entry, file=where), shipped_soils.get(name, {}))
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


def _chosen(model: type[S], choice: str | Table, *, table: str, what: str, where: str) -> tuple[str, S]:
    """Name and entry of what is chosen from a shipped table, or described in a table of the user's own."""
    if isinstance(choice, str):
        return choice, parse(
            model, _pick(_table(table), choice, what=what, where=where), file=f"{table}.toml [{choice}]"
        )
    return f"own {what}", _own(model, choice, table=table, what=what, where=where)


def _own(model: type[S], choice: Table, *, table: str, what: str, where: str) -> S:
    """Entry that a user describes; it may start from a shipped one with `like`."""
    given, entries = dict(choice), _table(table)
    base = _pick(entries, str(given.pop("like")), what=what, where=f"{where}: like") if "like" in given else {}
    full = _overlaid(base, given, table=table, where=where)
    missing = [key for key, field in model.model_fields.items() if field.is_required() and key not in full]
    if missing:
        raise SettingsError(
            what=f"{'key' if len(missing) == 1 else 'keys'} {', '.join(map(repr, missing))} "
            f"{'is' if len(missing) == 1 else 'are'} missing",
            where=where,
            do=f'give them, or start from a shipped one with like = "{next(iter(entries))}" ({", ".join(entries)})',
        )
    return parse(model, full, file=where)


def _prices(given: PriceSettings, crop: Crop) -> PriceTable:
    base = _table("prices")
    home = base["currency"]
    if crop.price_per_t is not None:
        base["grain_per_t"] = crop.price_per_t.model_dump()
    currency = given.currency or home
    entries = {}
    for key, quantity in given.entries.items():
        code, _ = currency_of(quantity.unit)
        if code not in {None, MONEY, currency, home}:
            raise SettingsError(
                what=f"{key} is in {code}, but money is in {currency}", where="[prices]", do=f'set currency = "{code}"'
            )
        entries[key] = quantity.model_dump() | {"unit": quantity.unit.replace(MONEY, currency)}
    own = parse(PriceTable, {**base, **entries, **given.overrides, "currency": currency}, file="[prices]")
    return keep_ranges(own, base)


def _without_unused(prices: PriceTable, soils: Mapping[str, SoilType], given: PriceSettings) -> PriceTable:
    """`prices` less those that nothing asks for and that are known in another currency only."""
    spread = any(soil.lime or soil.gypsum or soil.reclaim for soil in soils.values())
    unused = (
        {"contractor_per_ha"} if spread else {"contractor_per_ha", "lime_per_t", "gypsum_per_t", "spreading_per_ha"}
    )
    home = str(_table("prices")["currency"])
    if prices.currency == home or given.exchange_rate is not None:
        return prices
    foreign = {name for name, money in _quantities(prices) if home in money.unit.split("/")}
    return prices.model_copy(update=dict.fromkeys(unused & foreign))


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
            if name in {"discount_rate", "contractor_fuel"} and quantity.span[1] > 1:
                raise SettingsError(what=f"{name} = {quantity.value:g} is no share", where=where, right="0 to 1")
    for where, model in {**machines, **soils}.items():
        for name, quantity in _quantities(model):
            low, high = quantity.span
            if name in {"years", "hours_per_year", "seasons", "seasons_controlled"} and low <= 0:
                raise SettingsError(what=f"{name} must be above 0", where=where)
            if name in {"persistence", "persistence_controlled"} and not 0 <= low <= high <= 1:
                raise SettingsError(what=f"{name} is {low:g} to {high:g}", where=where, right="a share, 0 to 1")
