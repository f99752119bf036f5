"""The catalog: soils, machines, prices, crop, rules and references, shipped or the user's own."""

import difflib
from collections.abc import Iterator, Mapping
from typing import TypeVar

from hardpan.core.errors import SettingsError
from hardpan.core.settings import Settings, parse
from hardpan.pan.moisture import MoistureModel, parse_models
from hardpan.records.catalog import Catalog, Source
from hardpan.records.machines import Effort, Ripper, SetUp, Tractor
from hardpan.records.prices import Crop, PriceSettings, PriceTable
from hardpan.records.quantity import Quantity
from hardpan.records.rules import After, Lab, Rule
from hardpan.records.soils import Response, SoilType
from hardpan.records.weather import Balance
from hardpan.run.config import PaddockConfig
from hardpan.run.own_tables import own_tables, place
from hardpan.run.shipped_tables import Table, pick, read_table, tables_with

S = TypeVar("S", bound=Settings)


def read_catalog(config: PaddockConfig) -> Catalog:
    """All tables of `configs/` with the numbers of `config` in place of shipped ones.

    Raises
    ------
    SettingsError
        A name is not in its table (the nearest is named), an entry is incomplete, a number is given twice, a price is
        negative, or prices stand in two currencies.
    """
    machine, given = config.machine, own_tables(config)
    own = given.tables
    setups = {name: parse(SetUp, entry, file=place(config, "setups", name)) for name, entry in own["setups"].items()}
    ripper = parse(Ripper, own["rippers"][given.ripper], file=place(config, "rippers", given.ripper))
    ripper = ripper.model_copy(update={"setups": tuple(dict.fromkeys([*ripper.setups, *machine.setups]))})
    where = f"ripper {given.ripper}: setups"
    fitted = {name: pick(setups, name, what="set-up", where=where) for name in ripper.setups}
    if machine.setup is not None:
        pick(fitted, machine.setup, what="set-up", where="[machine] setup")
    tractor = parse(Tractor, own["tractors"][given.tractor], file=place(config, "tractors", given.tractor))
    crops = {name: parse(Crop, own["crops"][name], file=place(config, "crops", name)) for name in given.rotation}
    prices = _prices(config.prices, own["prices"], crops)
    response = parse(Response, own["response"], file=place(config, "response"))
    soils = _soils(config, own["soils"], own["water"])
    prices = _without_unused(prices, soils, config.prices)
    catalog = Catalog(
        soils=soils,
        tractor_name=given.tractor,
        tractor=_in_currency(tractor, config.prices, prices.currency, where=f"tractor {given.tractor}"),
        ripper_name=given.ripper,
        ripper=_in_currency(ripper, config.prices, prices.currency, where=f"ripper {given.ripper}"),
        setups=fitted,
        rules=tuple(parse(Rule, row, file=place(config, "rules", name)) for name, row in own["rules"].items()),
        lab=parse(Lab, own["lab"], file=place(config, "lab")),
        effort=parse(Effort, own["effort"], file=place(config, "effort")),
        response=response,
        reference_setup=pick(setups, response.reference.setup, what="set-up", where="response.toml [reference]"),
        prices=_in_currency(prices, config.prices, prices.currency, where="prices.toml"),
        crops=_priced(crops, config.prices, prices.currency),
        rotation=given.rotation,
        available_water={
            name: parse(Quantity, entry, file=place(config, "water")) for name, entry in own["water"].items()
        },
        balance=parse(Balance, own["balance"], file=place(config, "balance")),
        references={
            key: parse(Source, entry, file=f"references.toml [{key}]")
            for key, entry in read_table("references").items()
        },
        replaced=given.replaced,
    )
    _refuse_impossible(catalog)
    return catalog


def moisture_models(config: PaddockConfig) -> dict[str, MoistureModel]:
    """Models of cone index against water content, with the user's own coefficients."""
    table = tables_with(config.numbers)["moisture"]
    return parse_models(table, file=place(config, "moisture"))


def _soils(config: PaddockConfig, own: Table, water: Table) -> dict[str, SoilType]:
    soils = {}
    for name, entry in own.items():
        where = f'[soil.types."{name}"]' if name in config.soil.types else place(config, "soils", name)
        _refuse_misspelt(name, entry, own, where=where)
        soils[name] = parse(SoilType, entry, file=where)
        pick(water, soils[name].water_texture, what="water_texture", where=where)
    return soils


def _refuse_misspelt(name: str, entry: Table, soils: Table, *, where: str) -> None:
    """Refuse an incomplete new soil type whose name is nearly that of a shipped one."""
    missing = [key for key, field in SoilType.model_fields.items() if field.is_required() and key not in entry]
    near = difflib.get_close_matches(name, [other for other in soils if other != name], n=1, cutoff=0.8)
    if missing and near:
        raise SettingsError(
            what=f"{name!r} is a new soil type and lacks {', '.join(missing)}",
            where=where,
            do=f"is it {near[0]!r} you mean?",
        )


def _prices(given: PriceSettings, own: Table, crops: Mapping[str, Crop]) -> PriceTable:
    """Price table.

    Raises
    ------
    SettingsError
        A crop has no price.
    """
    dear = [name for name, crop in crops.items() if crop.price_per_t is None]
    if dear and (len(crops) > 1 or "grain_per_t" not in own):
        raise SettingsError(what=f"{', '.join(dear)} has no price", where="[season]", do="give its price_per_t")
    return parse(PriceTable, {**own, "currency": given.currency or own["currency"]}, file="[prices]")


def _priced(crops: Mapping[str, Crop], given: PriceSettings, currency: str) -> dict[str, Crop]:
    """Crops of the rotation with their prices in the user's currency; that of the first is prices.grain_per_t."""
    first, *later = crops
    priced = {name: _in_currency(crops[name], given, currency, where=f"crop {name}") for name in later}
    return {first: crops[first].model_copy(update={"price_per_t": None}), **priced}


def _without_unused(prices: PriceTable, soils: Mapping[str, SoilType], given: PriceSettings) -> PriceTable:
    """`prices` less those that are known in another currency only and can do without.

    Where the decision table asks for work after the pass that has no price, the ledger says so.
    """
    spread = any(soil.lime or soil.gypsum or soil.reclaim for soil in soils.values())
    unused = {"contractor_per_ha", *(work.price for work in After)}
    if not spread:
        unused |= {"lime_per_t", "gypsum_per_t", "spreading_per_ha"}
    home = str(read_table("prices")["currency"])
    if prices.currency == home or given.exchange_rate is not None:
        return prices
    foreign = {name for name, money in _quantities(prices) if home in money.unit.split("/")}
    return prices.model_copy(update=dict.fromkeys(unused & foreign))


def _in_currency(model: S, given: PriceSettings, currency: str, *, where: str) -> S:
    """`model` with shipped money converted where the user's currency is another."""
    home = str(read_table("prices")["currency"])
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
