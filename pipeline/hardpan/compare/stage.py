"""The comparison of two results: what was put in differently, and what came out differently."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import pandas as pd
import shapely

from hardpan.compare.differences import bottom_difference, error_correlation, find_maps, find_sums, paired
from hardpan.core.errors import InputError
from hardpan.records.past import CHANGE, PAN_MAPS, Comparison, PastRun, What

_LEAST_COMMON = 0.5
"""Share of the smaller paddock that both must have in common to be one."""

Cause = tuple[What, str, object, object]
"""Kind, where, before and after."""

_NO_RESULT = frozenset({"outputs", "sites", "memory", "paddock.name"})
"""Tables and keys of the configuration that change what is written or said, and no figure that is compared."""

_AFTER_MAPS = frozenset({"zones", "machine", "prescription", "strips", "history", "prices", "alternatives"})
"""Tables that are read once the maps are drawn."""

_DIGEST = 12
"""Signs of a file's digest that are shown."""


def compare(before: PastRun, after: PastRun, *, currency: str) -> Comparison:
    """What changed from one result to the other, and what was put in differently.

    Parameters
    ----------
    currency : str
        Of the later result's money.

    Raises
    ------
    InputError
        The two are not of one paddock.
    """
    _refuse_another_paddock(before, after)
    causes = list(find_causes(before, after))
    rows: list[dict[str, object]] = [
        {"what": str(what), "where": where, "before": one, "after": other, "cause": ""}
        for what, where, one, other in causes
    ]
    for what, where, one, other, low, high in (*find_maps(before, after), *find_sums(before, after)):
        rows.append(
            {
                "what": str(what),
                "where": where,
                "before": one,
                "after": other,
                "change": other - one,
                "low": low,
                "high": high,
                "cause": why(causes, what, where),
            }
        )
    maps = bottom_difference(before, after)
    return Comparison(
        before=before,
        after=after,
        rows=pd.DataFrame(rows, columns=list(CHANGE)),
        currency=currency,
        error_correlation=error_correlation(before, after),
        paired=paired(before, after),
        difference=None if maps is None else maps[0],
        clear=None if maps is None else maps[1],
    )


def _refuse_another_paddock(before: PastRun, after: PastRun) -> None:
    one = shapely.union_all(before.zones.geometry.array)
    other = shapely.union_all(after.zones.to_crs(before.zones.crs).geometry.array)
    if shapely.intersection(one, other).area < _LEAST_COMMON * min(one.area, other.area):
        raise InputError(
            what="the two results are of different ground", where=f"{before.name}, {after.name}",
            right="two results of one paddock",
        )  # fmt: skip


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
        name for kind, name, _, _ in causes if kind is not What.SETTING or not {name, name.partition(".")[0]} & idle
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
