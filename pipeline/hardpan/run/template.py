"""The commented template configuration, filled in with what a folder holds for certain."""

import os
import types
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from hardpan.core.errors import SettingsError, clean
from hardpan.records.quantity import Quantity
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config, PaddockConfig
from hardpan.run.faults import open_questions
from hardpan.survey.inputs.contents import Content, Kind, look_at

HEAD = """\
# A hardpan configuration. Lines that begin with "# " and a key show the default: take the mark away to change it.
# Paths resolve against this file's folder. Run it with: hardpan run paddock.toml --out result
"""
EXAMPLES: Mapping[str, str] = {
    "paddock.name": '"My paddock"',
    "paddock.boundary": '"boundary.geojson"',
    "probes.file": '"probes.csv"',
}
"""What stands for the required keys."""


@dataclass(slots=True, kw_only=True)
class Findings:
    """What is filled into a template: values by key with the reason, and questions by table."""

    values: dict[str, tuple[object, str]] = field(default_factory=dict)
    asks: dict[str, list[str]] = field(default_factory=dict)
    open: list[str] = field(default_factory=list)
    """What `hardpan check` says of the configuration as it stands, a line each."""

    def sure(self, key: str, value: object, why: str) -> None:
        """Note a value and what says so."""
        self.values[key] = (value, why)

    def ask(self, table: str, question: str) -> None:
        """Note a question, which stands in the table it belongs to."""
        self.asks.setdefault(table, []).append(question)


def template(found: Findings | None = None) -> str:
    """Text of the template, with what was found filled in; it is a valid configuration."""
    found = found or Findings()
    head = [HEAD, *(f"# TO SETTLE: {line}" for line in found.open)]
    return "\n".join([*head, *_table("", Config, found)]).rstrip() + "\n"


def write_template(folder: Path, found: Findings | None = None) -> Path:
    """Write the template into `folder` as paddock.toml, with what was found filled in, and give its path.

    Raises
    ------
    SettingsError
        The file is there already, or the folder cannot be made.
    """
    path = folder / "paddock.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(template(found))
    except FileExistsError as err:
        raise SettingsError(
            what="is there already", where=str(err.filename or folder), do="give another folder"
        ) from err
    except OSError as err:
        raise SettingsError(what=f"cannot be written ({err.strerror})", where=str(path)) from err
    return path


def write_filled(folder: Path, given: Path) -> tuple[Path, list[str]]:
    """Write what the files of the folder `given` say into `folder` as paddock.toml; its path, and what is to settle.

    Raises
    ------
    InputError
        There is no folder `given`.
    SettingsError
        The file is there already, or the folder cannot be made.
    """
    found = find(given, folder)
    path = write_template(folder, found)
    found.open = open_questions(path)
    path.write_text(template(found), encoding="utf-8")
    return path, found.open


def _table(prefix: str, model: type[BaseModel], found: Findings) -> Iterator[str]:
    nested: list[tuple[str, type[BaseModel], FieldInfo]] = []
    several: list[tuple[str, type[BaseModel], FieldInfo]] = []
    for name, info in model.model_fields.items():
        inner, listed = _model(info.annotation), None if prefix else _listed(info.annotation)
        if listed is not None:
            several.append((name, listed, info))
        elif inner is not None:
            nested.append((f"{prefix}{name}", inner, info))
        else:
            key = info.alias or name
            yield from _line(f"{prefix}{key}", key, info, found)
    for key, inner, info in nested:
        yield ""
        yield f"# {info.description}"
        yield f"[{key}]"
        yield from (f"# TO SETTLE: {clean(question)}" for question in found.asks.get(key, ()))
        yield from _table(f"{key}.", inner, found)
    for key, each, info in several:
        yield from ("", f"# {info.description}", f"# [[{key}]]")
        for name, own in each.model_fields.items():
            yield from (line.replace("# ", "#   ", 1) for line in _line(f"{key}.{name}", name, own, found))


def _line(key: str, name: str, field: FieldInfo, found: Findings) -> Iterator[str]:
    extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
    unit, choices = extra.get("unit") or "", " | ".join(_choices(field.annotation))
    notes = ", ".join(filter(None, [str(unit), choices]))
    told = "; changes only what is told, not the plan" if extra.get("told_only") else ""
    comment = f"{field.description}{told}{f' [{notes}]' if notes else ''}"
    if key in found.values:
        value, why = found.values[key]
        yield f"{name} = {_toml(value)}  # {clean(why)}; {comment}"
    elif key in EXAMPLES:
        yield f"{name} = {EXAMPLES[key]}  # {comment}"
    else:
        default = field.get_default()
        value = "..." if default is None or default is PydanticUndefined else _toml(default)
        yield f"# {name} = {value}  # {comment}"


def _choices(annotation: Any) -> Iterator[str]:  # noqa: ANN401
    if get_origin(annotation) is Literal:
        yield from (str(choice) for choice in get_args(annotation))
    else:
        for part in get_args(annotation):
            yield from _choices(part)


def _listed(annotation: Any) -> type[BaseModel] | None:  # noqa: ANN401
    """Class of the tables of a list, None where it is no list of tables."""
    return _model(get_args(annotation)[0]) if get_origin(annotation) is tuple else None


def _model(annotation: Any) -> type[BaseModel] | None:  # noqa: ANN401
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return None if issubclass(annotation, Quantity) else annotation
    if get_origin(annotation) in {Annotated, Union, types.UnionType}:
        return next((found for part in get_args(annotation) if (found := _model(part))), None)
    return None


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f'"{key}" = {_toml(item)}' for key, item in value.items()) + " }" if value else "{}"
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_toml(part) for part in value) + "]"
    text = str(value.name if isinstance(value, Path) else value).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{text}"'


def find(folder: Path, beside: Path) -> Findings:
    """What the files of `folder` say of a configuration that will lie in the folder `beside`.

    Raises
    ------
    InputError
        There is no such folder.
    """
    soil_types = read_catalog(PaddockConfig.model_construct()).soils
    contents = look_at(folder, soil_types)
    found = Findings()
    _fill_ground(found, contents, folder, beside)
    _fill_probes(found, contents, beside)
    _fill_covariates(found, _of(contents, "raster"), beside)
    for one in _of(contents, "lines"):
        found.ask("sites", f'{one.path.name} {one.why}; if wheel tracks: tramlines = "{_from(one.path, beside)}"')
    for one in _of(contents, "unknown"):
        found.ask("paddock", f"{one.path.name} is not used: {one.why}")
    return found


def _of(contents: Sequence[Content], kind: Kind) -> list[Content]:
    return [one for one in contents if one.kind == kind]


def _from(path: Path, beside: Path) -> str:
    """Path of a file as a configuration in the folder `beside` names it."""
    return Path(os.path.relpath(path.resolve(), beside.resolve())).as_posix()


def _fill_ground(found: Findings, contents: Sequence[Content], folder: Path, beside: Path) -> None:
    boundary = _only(found, _of(contents, "polygons"), "paddock.boundary", beside)
    found.sure("paddock.name", folder.resolve().name, "the folder's name")
    if boundary is not None and "name" in boundary.states:
        found.sure("paddock.name", boundary.states["name"], f"the name of the polygon in {boundary.path.name}")
    if boundary is None and not _of(contents, "polygons"):
        found.ask("paddock", f"no polygon in {folder} can be the boundary: name its file")
    _only(found, _of(contents, "exclusions"), "paddock.exclusions", beside)
    soil = _only(found, _of(contents, "soils"), "soil.polygons", beside)
    if soil is not None:
        found.sure("soil.type_field", soil.states["type_field"], f"its labels are soil types, {soil.path.name}")
    _only(found, _of(contents, "cores"), "soil.cores", beside)


def _only(found: Findings, fit: Sequence[Content], key: str, beside: Path) -> Content | None:
    """The one file that fits a key, which is filled in; of several, none is chosen and the question noted."""
    if len(fit) == 1:
        found.sure(key, _from(fit[0].path, beside), fit[0].why)
        return fit[0]
    table, _, name = key.partition(".")
    for one in fit:
        found.ask(
            table, f'{len(fit)} files may be {name}; is it this, which {one.why}? {name} = "{_from(one.path, beside)}"'
        )
    return None


def _fill_probes(found: Findings, contents: Sequence[Content], beside: Path) -> None:
    readings = _of(contents, "readings")
    if not readings:
        found.ask("probes", "no table of readings was recognised: name its file, and its columns in [probes.columns]")
        return
    if len(readings) == 1:
        found.sure("probes.file", _from(readings[0].path, beside), readings[0].why)
    else:
        paths = ", ".join(f'"{_from(one.path, beside)}"' for one in readings)
        held = "; ".join(f"{one.path.name} {one.why}" for one in readings)
        found.ask("probes", f"{held}; name one, or all where they are of one survey: file = [{paths}]")
    for key, value in _shared(readings):
        found.sure(f"probes.{key}", value, f"from {', '.join(one.path.name for one in readings)}")
    if not all(one.placed for one in readings):
        places = _of(contents, "positions")
        _only(found, places, "probes.positions", beside)
        if not places:
            found.ask("probes", "the readings have no positions, and no file here has: name one in probes.positions")


def _shared(readings: Sequence[Content]) -> Iterator[tuple[str, str]]:
    """What all tables of readings state alike."""
    for key, value in readings[0].states.items():
        if all(one.states.get(key) == value for one in readings):
            yield key, value


def _fill_covariates(found: Findings, rasters: Sequence[Content], beside: Path) -> None:
    sure = [one for one in rasters if one.placed]
    if sure:
        why = "; ".join(f"{one.path.name}: {one.why}" for one in sure)
        found.sure("surfaces.covariates", [_from(one.path, beside) for one in sure], why)
    for one in rasters:
        if not one.placed:
            found.ask("surfaces", f'{one.path.name}, {one.why}: covariates = ["{_from(one.path, beside)}"]')
