"""What was put in differently: version, files, settings."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from hardpan.records.comparison import PAN_MAPS, PastRun, What

Cause = tuple[What, str, object, object]
"""Kind, where, before and after."""

_NO_RESULT = frozenset({"outputs", "sites", "memory"})
"""Tables of the configuration that change what is written or said, and no figure that is compared."""

_AFTER_MAPS = frozenset({"zones", "machine", "prescription", "strips", "history", "prices", "alternatives"})
"""Tables that are read once the maps are drawn."""

_DIGEST = 12
"""Signs of a file's digest that are shown."""


def find_causes(before: PastRun, after: PastRun) -> Iterator[Cause]:
    """Every difference of what the two runs were given."""
    one, other = before.document, after.document
    versions = [{"hardpan": document["version"], **document.get("versions", {})} for document in (one, other)]
    yield from _differing(What.VERSION, *versions)
    inputs = [
        {name: str(digest)[:_DIGEST] for name, digest in document["inputs_sha256"].items()} for document in (one, other)
    ]
    yield from _differing(What.INPUT, *inputs)
    yield from _differing(What.SETTING, _flat(one["settings"]), _flat(other["settings"]))


def why(causes: Iterable[Cause], what: What, where: str) -> str:
    """Names of the causes that can have made a change: of a map of the pan none that is read once it is drawn."""
    idle = _NO_RESULT | (_AFTER_MAPS if what is What.MAP and where in PAN_MAPS else frozenset())
    return "; ".join(
        name for kind, name, _, _ in causes if kind is not What.SETTING or name.partition(".")[0] not in idle
    )


def _differing(what: What, one: Mapping[str, object], other: Mapping[str, object]) -> Iterator[Cause]:
    for key in sorted({*one, *other}):
        before, after = one.get(key, ""), other.get(key, "")
        if before != after:
            yield what, key, before, after


def _flat(settings: Mapping[str, Any], head: str = "") -> dict[str, object]:
    """Settings by their full keys; a table that holds a number with its unit is one value."""
    found: dict[str, object] = {}
    for key, value in settings.items():
        name = f"{head}.{key}" if head else str(key)
        if isinstance(value, Mapping) and "value" not in value:
            found |= _flat(value, name)
        else:
            found[name] = _told(value)
    return found


def _told(value: object) -> object:
    """A setting as one value: a number with its unit and range as a text."""
    if isinstance(value, Mapping):
        low, high = value.get("low"), value.get("high")
        spread = "" if low is None and high is None else f" ({low} to {high})"
        return f"{value['value']:g} {value.get('unit', '')}{spread}".strip()
    if isinstance(value, list | tuple):
        return ", ".join(str(_told(one)) for one in value)
    return value if value is None or isinstance(value, int | float | str) else str(value)
