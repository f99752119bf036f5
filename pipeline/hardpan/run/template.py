"""The commented template configuration, generated from the settings classes."""

import types
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from hardpan.core.errors import SettingsError
from hardpan.core.text import clean
from hardpan.records.quantity import Quantity
from hardpan.run.config import Config
from hardpan.run.faults import open_questions
from hardpan.run.findings import Findings, find

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
    for name, field in model.model_fields.items():
        inner, listed = _model(field.annotation), None if prefix else _listed(field.annotation)
        if listed is not None:
            several.append((name, listed, field))
        elif inner is not None:
            nested.append((f"{prefix}{name}", inner, field))
        else:
            key = field.alias or name
            yield from _line(f"{prefix}{key}", key, field, found)
    for key, inner, field in nested:
        yield ""
        yield f"# {field.description}"
        yield f"[{key}]"
        yield from (f"# TO SETTLE: {clean(question)}" for question in found.asks.get(key, ()))
        yield from _table(f"{key}.", inner, found)
    for key, each, field in several:
        yield from ("", f"# {field.description}", f"# [[{key}]]")
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
