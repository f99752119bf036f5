"""The list of paddocks that `hardpan farm` works through, and the settings they share."""

import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel

from hardpan.core.errors import AmbiguousInputError, Faults, HardpanError, InputError, SettingsError
from hardpan.core.settings import InputPath, Settings, parse, setting
from hardpan.run.config import PaddockConfig, endless, no_finite_number, read_toml
from hardpan.run.farm_fit import read_rows
from hardpan.run.farm_season import SeasonPlanSettings, Wishes

_LONGEST_SLUG = 60
"""Letters, so that a path stays short."""


class ListedSettings(Settings):
    """One paddock of a list."""

    config: InputPath = setting(says="Configuration of the paddock, from the folder of the list")
    paddock: str | None = setting(
        None, says="Name it goes by and its folder is named after; else that of its configuration", min_length=1
    )
    must: bool = setting(False, says="Every plan of the season rips it")
    waiting_per_day: float = setting(
        0.0, says="What each day costs that the paddock waits", unit="money", ge=0, allow_inf_nan=False
    )
    not_before: date | None = setting(None, says="First day it may be ripped")
    not_after: date | None = setting(None, says="Last day it may be ripped, such as that of seeding")


_COLUMNS = tuple(ListedSettings.model_fields)
"""Columns of a CSV list that are read; others are the user's own."""


class FarmSettings(Settings):
    """A list of paddocks."""

    defaults: Mapping[str, Any] = setting({}, says="Settings of all paddocks, where their own leave them out")
    plan: SeasonPlanSettings | None = setting(None, says="The days of the season")
    paddocks: tuple[ListedSettings, ...] = setting(says="The paddocks")


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One paddock of a list."""

    config: Path
    name: str
    slug: str
    """Name of its folder: lower-case letters, digits and dashes."""
    place: str
    """Where in the list it stands."""
    wishes: Wishes


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmList:
    """Paddocks and the settings they share."""

    paddocks: tuple[Listed, ...]
    defaults: Mapping[str, object]
    """Paths in it are absolute."""
    plan: SeasonPlanSettings | None


def read_farm_list(path: Path) -> FarmList:
    """Paddocks in a TOML file of `[[paddocks]]`, or in a CSV file with a column `config`.

    Raises
    ------
    HardpanError
        One line for each fault: the file is missing or no such list, a configuration is missing, a paddock is listed
        twice, two have one name, or a default is no setting.
    """
    values, places = _read_toml(path) if path.suffix.lower() == ".toml" else _read_table(path)
    folder = path.resolve().parent
    for key in endless(values.get("plan"), "plan"):
        raise no_finite_number(key, path.name)
    settings = parse(FarmSettings, values, file=path.name, folder=folder)
    if not settings.paddocks:
        raise InputError(what="lists no paddock", where=path.name, right="[[paddocks]] or a column config with rows")
    faults = Faults()
    with faults.gathered():
        defaults = _with_paths(settings.defaults, folder, path.name)
    listed = [_listed(one, place, faults) for one, place in zip(settings.paddocks, places, strict=True)]
    _refuse_twice(listed, path.name, faults)
    faults.refuse()
    return FarmList(paddocks=tuple(listed), defaults=defaults, plan=settings.plan)


def slug_of(name: str) -> str:
    """Name of a folder for a paddock, safe on every system: lower-case letters, digits and dashes.

    >>> slug_of("Bore paddock, Süd 2"), slug_of("…")
    ('bore-paddock-sud-2', 'paddock')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    words = "".join(sign if sign.isalnum() else " " for sign in plain).split()
    return "-".join(words)[:_LONGEST_SLUG].strip("-") or "paddock"


def _read_toml(path: Path) -> tuple[Mapping[str, object], list[str]]:
    values = read_toml(path)
    paddocks = values.get("paddocks", [])
    count = len(paddocks) if isinstance(paddocks, list) else 0
    return values, [f"{path.name}, paddock {number}" for number in range(1, count + 1)]


def _read_table(path: Path) -> tuple[Mapping[str, object], list[str]]:
    """Rows of a CSV list."""
    columns, rows = read_rows(path, where=str(path), what="a list of paddocks")
    names = [name.lower() for name in columns]
    if names.count("config") != 1:
        raise InputError(
            what="has no column config" if "config" not in names else "has two columns config", where=path.name,
            right="a CSV file with one column config, or a TOML file with [[paddocks]]",
        )  # fmt: skip
    paddocks, places = [], []
    for place, row in rows:
        cells = {name.lower(): cell for name, cell in row.items() if name.lower() in _COLUMNS}
        paddocks.append({name: cell for name, cell in cells.items() if cell or name == "config"})
        places.append(place)
    return {"paddocks": paddocks}, places


def _listed(given: ListedSettings, place: str, faults: Faults) -> Listed:
    name = given.paddock
    if not given.config.is_file():
        faults.errors.append(
            InputError(what="no such file", where=f"{place}: {given.config}", right="a paddock's configuration")
        )
    name = name or _name_in(given.config) or given.config.stem
    wishes = Wishes(
        must=given.must, waiting_per_day=given.waiting_per_day, not_before=given.not_before, not_after=given.not_after
    )
    return Listed(config=given.config, name=name, slug=slug_of(name), place=place, wishes=wishes)


def _name_in(config: Path) -> str:
    """Name in a configuration, "" where it cannot be read: that is told when its paddock's turn comes."""
    try:
        paddock = read_toml(config).get("paddock")
    except (HardpanError, OSError):
        return ""
    return str(paddock.get("name") or "") if isinstance(paddock, Mapping) else ""


def _refuse_twice(listed: list[Listed], file: str, faults: Faults) -> None:
    """Note paddocks that are listed twice, and different ones whose results would go into one folder."""
    by_config, by_slug = dict[Path, Listed](), dict[str, Listed]()
    for one in listed:
        twice = by_config.setdefault(one.config.resolve(), one)
        if twice is not one:
            faults.errors.append(
                InputError(what=f"{one.config.name} is listed twice", where=one.place, do=f"leave out {twice.place}")
            )
            continue
        same = by_slug.setdefault(one.slug, one)
        if same is not one:
            faults.errors.append(
                AmbiguousInputError(
                    what=f"{one.name!r} and {same.name!r} would share the folder {one.slug}",
                    where=f"{one.place} and {same.place}", do=f"give one of them another name (paddock) in {file}",
                )
            )  # fmt: skip


def _with_paths(defaults: Mapping[str, object], folder: Path, file: str) -> dict[str, object]:
    """Defaults with the files they name as absolute paths.

    Raises
    ------
    SettingsError
        A table or a key is none of a configuration.
    """
    return {table: _table(table, keys, folder, file) for table, keys in defaults.items()}


def _table(table: str, keys: object, folder: Path, file: str) -> dict[str, object]:
    field = PaddockConfig.model_fields.get(table)
    kinds = [] if field is None else [kind for kind in _kinds(field.annotation) if issubclass(kind, BaseModel)]
    if not kinds or not isinstance(keys, Mapping):
        raise SettingsError(
            what=f"defaults.{table} is no table of a configuration", where=file,
            right=f"one of {', '.join(PaddockConfig.model_fields)}",
        )  # fmt: skip
    fields = kinds[0].model_fields
    by_key = {field.alias or name: field for name, field in fields.items()}
    for key in keys.keys() - by_key.keys():
        raise SettingsError(
            what=f"unknown key {f'defaults.{table}.{key}'!r}", where=file, right=f"one of {', '.join(by_key)}"
        )
    return {
        key: _absolute(value, folder)
        if any(issubclass(kind, Path) for kind in _kinds(by_key[key].annotation))
        else value
        for key, value in keys.items()
    }


def _kinds(annotation: object) -> Iterator[type]:
    """Classes within an annotation."""
    if isinstance(annotation, type) and not get_args(annotation):
        yield annotation
    for part in get_args(annotation):
        yield from _kinds(part)


def _absolute(value: object, folder: Path) -> object:
    if isinstance(value, list):
        return [_absolute(one, folder) for one in value]
    return str(folder / value) if isinstance(value, str) else value
