"""All that is wrong with a configuration and its files, told in one pass, and values that are likely a slip."""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import numpy as np
from pydantic import BaseModel

from hardpan.core.errors import Faults, HardpanError
from hardpan.core.memory import MemorySettings
from hardpan.core.settings import Settings, models_in, parse
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues
from hardpan.records.quantity import Quantity
from hardpan.records.survey import Survey
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config, PaddockConfig, endless, learned_types, read_config, read_toml, with_response
from hardpan.run.free_memory import memory_of
from hardpan.run.shipped_tables import tables_with
from hardpan.survey.files import load
from hardpan.survey.settings import SoilSettings
from hardpan.survey.stage import FileSettings, file_faults, read_access, read_survey

C = TypeVar("C", bound=PaddockConfig)

_TOGETHER = ("machine", "season", "prices", "numbers")
"""Tables that make the catalog with the soil types: what is wrong with one of them shows in the others."""


def checked(path: Path, read: Callable[[Path], C]) -> C:
    """Configuration as `read_config` or `read_paddock_config` read it; where it is wrong, its files are looked at too.

    Raises
    ------
    HardpanError
        Of the configuration, and of every file it names in tables that can be read.
    """
    try:
        return read(path)
    except HardpanError as err:
        raise _with_its_files(err, path) from err


def all_faults(err: HardpanError, config: PaddockConfig) -> HardpanError:
    """`err`, met on the way to a plan, with all else that is wrong with the catalog and the files."""
    return _gathered(err, dict(config), {})


def open_questions(path: Path) -> list[str]:
    """What keeps a configuration and its files from being read, a line each; none where they can be."""
    try:
        config = read_config(path)
        survey = read_survey(config.paddock, config.probes, config.soil, config.grid, read_catalog(config).soils)
        read_access(config.sites, survey)
    except HardpanError as err:
        return str(_with_its_files(err, path)).splitlines()
    return []


def _with_its_files(err: HardpanError, path: Path) -> HardpanError:
    """Error of a configuration, with those of the tables that are right and of the files that are named."""
    folder = path.resolve().parent
    try:
        values = read_toml(path)
    except HardpanError:
        return err
    tables: dict[str, Any] = {}
    unread: dict[str, Path] = {}
    for name, field in Config.model_fields.items():
        given = values.get(name)
        model = next(one for one in models_in(field.annotation) if issubclass(one, Settings))
        tables[name] = None if field.is_required() else field.default
        if not isinstance(given, Mapping):
            continue
        try:
            with_learned: dict[str, Any] = with_response({name: given}, folder)
            tables[name] = parse(model, with_learned[name], file=path.name, folder=folder)
        except HardpanError:
            tables[name] = None
        if tables[name] is None or any(endless(given, name)):
            tables[name] = None
            unread |= {f"{name}.{key}": one for key, one in _paths(model, given, folder)}
    return _gathered(err, tables, unread)


def _paths(model: type[BaseModel], given: Mapping[str, object], folder: Path) -> Iterator[tuple[str, Path]]:
    """Files that a table names, by their keys, whatever else is wrong with it; less the one read with it."""
    for key, field in model.model_fields.items():
        if "Path" not in str(field.annotation) or key == "response":
            continue
        named = given.get(key)
        yield from (
            (key, folder / one) for one in (named if isinstance(named, list) else [named]) if isinstance(one, str)
        )


def _gathered(err: HardpanError, tables: Mapping[str, Any], unread: Mapping[str, Path]) -> HardpanError:
    """`err`, then the errors of tables and files.

    Parameters
    ----------
    tables : mapping
        Settings by table; None where one is wrong, which then counts as absent.
    unread : mapping
        Files of tables that are wrong: nobody knows how to read them, so they are only looked for.
    """
    faults = Faults()
    faults.keep(err)
    config: Any = PaddockConfig.model_construct(**tables)
    soil, soil_types = tables["soil"], None
    if all(tables[name] is not None for name in (*_TOGETHER, "soil")):
        with faults.gathered():
            soil_types = read_catalog(config).soils
    if soil_types is None:
        shipped = config.model_copy(update={name: Config.model_fields[name].default for name in _TOGETHER})
        try:
            soil_types = read_catalog(shipped.model_copy(update={"soil": soil or SoilSettings()})).soils
        except HardpanError:
            soil, soil_types = None, {}
    asked = FileSettings(
        paddock=config.paddock,
        probes=config.probes,
        soil=soil,
        grid=None if config.surfaces is None else config.grid,
        access=config.sites,
        memory=memory_of(config.memory or MemorySettings()),
    )
    faults.errors += file_faults(asked, soil_types)
    for key, path in sorted(unread.items()):
        with faults.gathered():
            load(path, what=key)
    return faults.as_one()


def questions(config: Config, survey: Survey, catalog: Catalog) -> Issues:
    """Remark on each implausible value of the settings and readings, and on gains of a trial that are not used."""
    asked = (
        Issue("survey", "implausible", what, f"used as it is; {ask}", file=where)
        for where, what, ask in _implausible(config, survey, catalog)
    )
    return (*_passed_over(config), *asked)


def _passed_over(config: Config) -> Issues:
    """Remark on each number of soil.response that the configuration's own goes before; none where they are the same."""
    file = config.soil.response
    if file is None:
        return ()
    return tuple(
        Issue(
            "survey",
            "own-gain-first",
            f"{key} of {name} is given in [soil.types] and learned from the harvest",
            "the one in [soil.types] is used; take it out to use what was learned",
            file=file.name,
            place=name,
        )
        for name, numbers in learned_types(file, file.name).items()
        for key, number in numbers.items()
        if config.soil.types[name].get(key) != number
    )


class _Asked(NamedTuple):
    """A number that may be meant in another unit."""

    where: str
    usual: str
    """Entry of usual.toml."""
    what: str
    value: float
    ask: str


def _implausible(config: Config, survey: Survey, catalog: Catalog) -> Iterator[tuple[str, str, str]]:
    """Where it stands, what is implausible, and what to look at."""
    table = tables_with(config.numbers)["usual"]
    usual = {name: parse(Quantity, entry, file=f"usual.toml [{name}]") for name, entry in table.items()}
    deepest = float(np.nanmax(survey.profiles.readings["depth_mm"].to_numpy()))
    if deepest > usual["deepest_probe"].value:
        yield "probes.file", f"readings go to {deepest:.0f} mm", "check probes.depth_unit"
    yield from _lengths(config, usual["shallowest"].value, usual["deepest_ripping"].value)
    for one in _sizes(config, survey, catalog):
        low, high = usual[one.usual].span
        if not low <= one.value <= high:
            unit = usual[one.usual].unit
            told = f"{one.what} of {one.value:g} {unit} is outside the usual {low:g} to {high:g} {unit}"
            yield one.where, told, one.ask


def _lengths(config: Config, shallowest_mm: float, deepest_mm: float) -> Iterator[tuple[str, str, str]]:
    """Remarks on depths of the settings."""
    worked = {
        "prescription.user_uniform_depth_mm": config.prescription.user_uniform_depth_mm,
        "history.last_depth_mm": config.history.last_depth_mm,
        "machine.observed_depth_mm": config.machine.observed_depth_mm,
    }
    known = {
        "season.moist_depth_mm": config.season.moist_depth_mm,
        "probes.depth_limit_mm": config.probes.depth_limit_mm,
    }
    for key, depth_mm in worked.items():
        if depth_mm is not None and depth_mm > deepest_mm:
            yield key, f"a working depth of {depth_mm:g} mm is deeper than rippers go", "a number without unit is mm"
    for key, depth_mm in (worked | known).items():
        # soil that is not moist at all is a finding, no slip
        if depth_mm is not None and 0 < depth_mm < shallowest_mm:
            yield key, f"a depth of {depth_mm:g} mm hardly enters the ground", _otherwise(depth_mm, "mm", "cm")


def _sizes(config: Config, survey: Survey, catalog: Catalog) -> Iterator[_Asked]:
    """Numbers of the threshold, machines, soils and prices, as they are used."""
    tractor, ripper, prices = catalog.tractor, catalog.ripper, catalog.prices
    for where, usual, what, value, units in (
        ("pan.critical_kpa", "threshold", "a threshold", config.pan.critical_kpa, ("kPa", "psi")),
        ("machine.tractor", "engine", "an engine", tractor.engine_power.value, ("kW", "hp")),
        ("machine.tractor", "ripping_speed", "a ripping speed", tractor.max_speed.value, ("km/h", "m/s")),
        ("machine.ripper", "tine_spacing", "a tine spacing", ripper.spacing.value, ("mm", "cm")),
    ):
        yield _Asked(where, usual, what, value, _otherwise(value, *units))
    for name in survey.soil_types:
        gain = catalog.soils[name].first_year_gain.value
        yield _Asked(f"soil type {name}", "first_year_gain", "a gain", gain, _otherwise(gain, "t/ha", "kg/ha"))
    if prices.grain_per_t.value > 0:
        kg_per_l = 1000.0 * prices.fuel_per_l.value / prices.grain_per_t.value
        ask = "check prices.fuel_per_l, money a litre, and prices.grain_per_t, money a tonne"
        yield _Asked("prices", "fuel_in_grain", "a price of fuel, in grain,", kg_per_l, ask)


def _otherwise(value: float, unit: str, other: str) -> str:
    return f'a number without unit is {unit}: "{value:g} {other}" is one in {other}'
