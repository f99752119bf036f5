"""The base of all settings: frozen, unknown keys refused, every field with unit, source and meaning."""

import difflib
import types
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, ValidationInfo

from hardpan.core.errors import SettingsError
from hardpan.core.text import has_control

S = TypeVar("S", bound="Settings")


class Settings(BaseModel):
    """Frozen settings that refuse unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, arbitrary_types_allowed=True)


def setting(default: Any = ..., *, says: str, unit: str = "", source: str = "design", **bounds: Any) -> Any:  # noqa: ANN401
    """Pydantic field that carries meaning, unit and source.

    Parameters
    ----------
    default : Any
        The default; required when left out.
    says : str
        One line for the template of `hardpan new`.
    unit : str
        Unit of the value, empty where there is none.
    source : str
        Key of `configs/references.toml`, or one of "common practice", "unverified", "design" (a choice of this tool).
    **bounds : Any
        Passed to `pydantic.Field` (`ge`, `le`, `gt`, `lt`, `min_length` ...).
    """
    return Field(default, description=says, json_schema_extra={"unit": unit, "source": source}, **bounds)


def _resolve(path: Path, info: ValidationInfo) -> Path:
    folder = (info.context or {}).get("folder")
    return path if folder is None or path.is_absolute() else Path(folder) / path


InputPath = Annotated[Path, AfterValidator(_resolve)]
"""A path that resolves against the configuration's folder."""


def parse(model: type[S], values: Mapping[str, Any], *, file: str, folder: Path | None = None) -> S:
    """Settings of class `model` from a mapping read from `file`.

    Raises
    ------
    SettingsError
        A key is unknown (the nearest valid one is named), missing, or has a wrong value, or a text holds a control
        character.
    """
    for key in _control_texts(values, ""):
        raise SettingsError(what=f"{key} holds a control character", where=file, right="plain text")
    try:
        return model.model_validate(values, context={"folder": folder})
    except ValidationError as err:
        raise _explained(err, model, file) from err


def _control_texts(value: object, key: str) -> Iterator[str]:
    """Keys of the texts with a control character, which no output could carry."""
    if isinstance(value, str) and has_control(value):
        yield key
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _control_texts(str(name), f"a key of [{key}]")
            yield from _control_texts(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _control_texts(inner, key)


def _explained(err: ValidationError, model: type[BaseModel], file: str) -> SettingsError:
    first = err.errors(include_url=False)[0]
    place = [
        str(part) for part in first["loc"] if not str(part).startswith(("function-", "tagged-union", "constrained-"))
    ]
    key = ".".join(place)
    if first["type"] == "extra_forbidden":
        valid = sorted(_keys_at(model, place[:-1]))
        near = difflib.get_close_matches(place[-1], valid, n=1, cutoff=0.5)
        todo = f"did you mean {near[0]!r}?" if near else "see the template of `hardpan new`"
        return SettingsError(what=f"unknown key {key!r}", where=file, right=f"one of {', '.join(valid)}", do=todo)
    if first["type"] == "missing":
        return SettingsError(what=f"key {key!r} is missing", where=file, do="see the template of `hardpan new`")
    message = first["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    if first["type"] in {"model_type", "dict_type"}:
        # what a reader of TOML would write: a number of a table that has none to take the unit from
        message = 'a table, for example { value = 1.5, unit = "t/ha", source = "user" }'
    given = repr(first.get("input"))
    return SettingsError(what=f"{key} = {given[:80]} cannot be used", where=file, right=message)


def _keys_at(model: type[BaseModel], place: list[str]) -> Iterator[str]:
    level: type[BaseModel] | None = model
    for part in place:
        field = level.model_fields.get(part) if level is not None else None
        if field is not None:
            level = next(_models_in(field.annotation), None)
    if level is not None:
        yield from (field.alias or name for name, field in level.model_fields.items())


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:  # noqa: ANN401
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in {Union, types.UnionType, Annotated, dict, Mapping, list, tuple} or get_args(
        annotation
    ):
        for part in get_args(annotation):
            yield from _models_in(part)
