"""The base of all settings: frozen, unknown keys refused, every field with unit, source and meaning."""

import difflib
import types
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, time
from pathlib import Path
from typing import Annotated, Any, TypeVar, Union, cast, get_args, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, ValidationInfo, field_validator
from pydantic_core import ErrorDetails

from hardpan.core.errors import Faults, SettingsError, has_control
from hardpan.core.units import convert, split_amount

S = TypeVar("S", bound="Settings")


class Settings(BaseModel):
    """Frozen settings that refuse unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, arbitrary_types_allowed=True)

    @field_validator("*", mode="before")
    @classmethod
    def _in_own_unit(cls, value: object, info: ValidationInfo) -> object:
        """A number that is given with a unit, or in a table with one, in the unit of its field."""
        field = cls.model_fields[info.field_name or ""]
        if isinstance(value, bool) and bool not in (kinds := set(_kinds(field.annotation))) and kinds & {int, float}:
            message = "a number, not true or false"
            raise ValueError(message)
        extra = field.json_schema_extra
        if not isinstance(extra, dict) or not extra.get("unit") or extra.get("ranged"):
            return value
        return _plain(value, str(extra["unit"]))


def _kinds(annotation: Any) -> Iterator[Any]:  # noqa: ANN401
    """Plain types that a field may hold."""
    yield annotation
    for part in get_args(annotation):
        yield from _kinds(part)


def _plain(value: object, unit: str) -> object:
    """What is given for a field of a unit, its numbers plain and in that unit."""
    if isinstance(value, str):
        amount = split_amount(value)
        return value if amount is None else convert(*amount, unit)[0]
    if isinstance(value, list | tuple):
        return [_plain(one, unit) for one in value]
    if not isinstance(value, Mapping) or "value" not in value:
        return value
    if {"low", "high"} & value.keys():
        message = "a number without low and high: no range is used here"
        raise ValueError(message)
    if spare := value.keys() - {"value", "unit", "source", "note"}:
        message = f"a table of value, unit, source and note, without {', '.join(sorted(map(str, spare)))}"
        raise ValueError(message)
    given, stated = value["value"], str(value.get("unit", unit))
    number = isinstance(given, int | float) and not isinstance(given, bool)
    return convert(float(given), stated, unit)[0] if number else _plain(given, unit)


def setting(
    default: Any = ...,  # noqa: ANN401
    *,
    says: str,
    unit: str = "",
    source: str = "design",
    ranged: bool = False,
    told_only: bool = False,
    **bounds: Any,  # noqa: ANN401
) -> Any:  # noqa: ANN401
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
    ranged : bool
        The field holds a whole entry with its range, unit and source instead of a plain number.
    told_only : bool
        The field changes what is told, and no map, zone, depth or money of the plan; the template says so.
    **bounds : Any
        Passed to `pydantic.Field` (`ge`, `le`, `gt`, `lt`, `min_length` ...).
    """
    extra: dict[str, Any] = {"unit": unit, "source": source, "ranged": ranged, "told_only": told_only}
    return Field(default, description=says, json_schema_extra=extra, **bounds)


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
    faults = Faults()
    for key in _control_texts(values, ""):
        faults.errors.append(
            SettingsError(
                what=f"{key} holds a control character",
                where=file,
                right="plain text",
                do="write paths with / in place of \\, or in 'single quotes'",
            )
        )
    try:
        found = model.model_validate(values, context={"folder": folder})
    except ValidationError as err:
        errors = err.errors(include_url=False)
        faults.errors.extend(_one_a_key(_explained(one, model, values, file) for one in errors))
        raise faults.as_one() from err
    faults.refuse()
    return found


def _one_a_key(errors: Iterable[SettingsError]) -> Iterator[SettingsError]:
    """The errors with those of one key and value, one for each kind of value it may have, as one."""
    kinds: dict[tuple[str, str, str], list[str]] = {}
    for error in errors:
        kinds.setdefault((error.what, error.where, error.do), []).append(error.right)
    for (what, where, do), right in kinds.items():
        yield SettingsError(what=what, where=where, right=" or ".join(dict.fromkeys(right)), do=do)


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


_KINDS = ("function-", "tagged-union", "constrained-", "literal[", "tuple[", "dict[")
"""How the parts of a place begin that name a kind of value, no key."""


_WANTED = {
    "tuple_type": 'a list in brackets, such as ["one", "other"]',
    "string_type": "a text in quotes",
    "string_too_short": "a text that is not empty",
    "date": "a date such as 2026-05-12",
    "float_parsing": 'a number with a decimal point, or one with its unit in quotes, such as "45 cm"',
    "float_type": "a number",
    "int_": "a whole number",
    "bool_": "true or false",
}
"""What to write in TOML, by how the type of an error begins."""


def _explained(first: ErrorDetails, model: type[BaseModel], values: Mapping[str, Any], file: str) -> SettingsError:
    place = [part for part in first["loc"] if not str(part).startswith(_KINDS)]
    if len(place) > 1 and place[-1] in {"int", "float", "str"}:
        del place[-1]
    key = _key(place, values)
    if first["type"] == "extra_forbidden":
        valid = sorted(_keys_at(model, place[:-1]))
        near = difflib.get_close_matches(str(place[-1]), valid, n=1, cutoff=0.5)
        todo = f"did you mean {near[0]!r}?" if near else "see the template of `hardpan new`"
        return SettingsError(what=f"unknown key {key!r}", where=file, right=f"one of {', '.join(valid)}", do=todo)
    if first["type"] == "missing":
        return SettingsError(what=f"key {key!r} is missing", where=file, do="see the template of `hardpan new`")
    message = first["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    message = next((said for kind, said in _WANTED.items() if first["type"].startswith(kind)), message)
    if first["type"] == "tuple_type" and isinstance(first.get("input"), Mapping):
        message = f"a list of tables: write [[{key}]] in place of [{key}]"
    if first["type"] in {"model_type", "dict_type"}:
        # what a reader of TOML would write: a number of a table that has none to take the unit from
        message = 'a table, for example { value = 1.5, unit = "t/ha", source = "user" }'
        if first["type"] == "model_type" and (first.get("ctx") or {}).get("class_name") == "Quantity":
            message = f"a number, a text with its unit, or {message}"
    given = _given(first.get("input"))
    return SettingsError(what=f"{f'{key} = ' if key else ''}{given} cannot be used", where=file, right=message)


def _key(place: Iterable[int | str], values: Mapping[str, Any]) -> str:
    """A place as an error shows it: in lists counted from 1, with the name of what stands there."""
    key, at = "", cast("Any", values)
    for part in place:
        if isinstance(part, int):
            at = at[part] if isinstance(at, list | tuple) and part < len(at) else None
            name = at.get("name") or at.get("paddock") or at.get("config") if isinstance(at, Mapping) else None
            key += f" {part + 1}" + (f" ({name})" if name else "")
        else:
            at = at.get(part, at) if isinstance(at, Mapping) else at
            key += f".{part}" if key else part
    return key


def _given(value: object) -> str:
    """A value as an error shows it: of a number with its unit, the number and its ends."""
    if isinstance(value, Mapping) and "value" in value:
        ends = [f"{end} {value[end]}" for end in ("value", "low", "high") if value.get(end) is not None]
        return ", ".join(ends) if len(ends) > 1 else ends[0].removeprefix("value ")
    return _told(value)[:80]


def _told(value: object) -> str:
    """A value as TOML has it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_told, value))}]"
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {_told(one)}' for key, one in value.items())} }}"
    return str(value) if isinstance(value, date | time) else repr(value)


def _keys_at(model: type[BaseModel], place: Sequence[int | str]) -> Iterator[str]:
    level: type[BaseModel] | None = model
    for part in place:
        field = level.model_fields.get(str(part)) if level is not None else None
        if field is not None:
            level = next(models_in(field.annotation), None)
    if level is not None:
        yield from (field.alias or name for name, field in level.model_fields.items())


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:  # noqa: ANN401
    """Classes of settings that a field may hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in {Union, types.UnionType, Annotated, dict, Mapping, list, tuple} or get_args(
        annotation
    ):
        for part in get_args(annotation):
            yield from models_in(part)
