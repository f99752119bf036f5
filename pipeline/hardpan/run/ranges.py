"""Ranges of numbers that a user gives without one."""

from collections.abc import Mapping
from typing import Any, TypeVar

from hardpan.core.settings import Settings
from hardpan.records.quantity import Quantity

S = TypeVar("S", bound=Settings)


def keep_ranges(model: S, shipped: Mapping[str, Any]) -> S:
    """`model` with the relative range of the shipped entry where a user's number has none.

    A number of one's own is better known in the middle, and not known for certain: who knows it exactly says so, with
    `low` and `high` equal to it.
    """
    own = {
        name: _ranged(number, shipped[name])
        for name, number in model
        if isinstance(number, Quantity) and number.source == "user" and number.low is None and number.high is None
        if isinstance(shipped.get(name), Mapping)
    }
    return model.model_copy(update=own)


def _ranged(own: Quantity, shipped: Mapping[str, Any]) -> Quantity:
    """Range in proportion to the value; of a share, within 0 and 1; none where proportion says nothing."""
    low, high = (shipped.get(end) for end in ("low", "high"))
    share = own.unit.split("/")[0] == "share"
    if own.value * shipped["value"] <= 0 or (low is None and high is None) or (share and own.value > 1):
        return own
    ratio = own.value / shipped["value"]
    ends = sorted(own.value if end is None else end * ratio for end in (low, high))
    if share:
        ends = [min(max(end, 0.0), 1.0) for end in ends]
    return own.model_copy(update={"low": min(ends[0], own.value), "high": max(ends[1], own.value)})
