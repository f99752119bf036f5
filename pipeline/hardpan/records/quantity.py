"""A number with unit, range and source."""

from collections.abc import Mapping
from typing import Annotated, Any, TypeAlias

from pydantic import AfterValidator, Field, ValidationInfo, field_validator, model_validator

from hardpan.core.settings import Settings, setting
from hardpan.core.units import convert, split_amount


class Quantity(Settings):
    """A number with its unit, range and source."""

    value: float
    low: float | None = None
    """Low end of the stated range, None: no range stated."""
    high: float | None = None
    unit: str = Field(min_length=1)
    source: str = Field(min_length=1)
    """Key of references.toml, "common practice", "unverified" or "user"."""
    note: str = ""

    @model_validator(mode="after")
    def _ordered(self) -> "Quantity":
        low, high = self.span
        if not low <= self.value <= high:
            message = f"low <= value <= high, got {low}, {self.value}, {high}"
            raise ValueError(message)
        return self

    @property
    def span(self) -> tuple[float, float]:
        """Low and high, both the value where no range is stated."""
        return (self.value if self.low is None else self.low, self.value if self.high is None else self.high)

    @property
    def ends(self) -> tuple[float, float, float]:
        """Low, value and high."""
        return (self.span[0], self.value, self.span[1])


def entry(given: object, unit: str) -> object:
    """Table of value, range, unit and source of what a user gives for a number of a unit.

    A plain number is in that unit, a text ("22 in") and a table may state another; the source of all is "user" unless a
    table says so. What is no number is returned as it is.

    Raises
    ------
    ValueError
        The unit cannot be brought to `unit`.
    """
    if isinstance(given, str):
        amount = split_amount(given)
        given = given if amount is None else {"value": amount[0], "unit": amount[1]}
    elif isinstance(given, int | float) and not isinstance(given, bool):
        given = {"value": given}
    if not isinstance(given, Mapping):
        return given
    full = {"unit": unit, "source": "user", **given}
    if isinstance(full.get("value"), str) and (amount := split_amount(full["value"])) is not None:
        full |= {"value": amount[0], "unit": amount[1]}
    stated, full["unit"] = str(full["unit"]), convert(1.0, str(full["unit"]), unit)[1]
    for end in ("value", "low", "high"):
        if isinstance(full.get(end), int | float):
            full[end] = convert(full[end], stated, unit)[0]
    return full


Price: TypeAlias = Quantity | None
"""A price, share or depth with its range, unit and source, as `RangedSettings` read it."""


class RangedSettings(Settings):
    """Settings some of whose numbers keep their range: a number, a text with its unit, or a table of all that."""

    @field_validator("*", mode="before")
    @classmethod
    def _as_entry(cls, given: object, info: ValidationInfo) -> object:
        """Table of what is given for a number with a range."""
        extra = cls.model_fields[info.field_name or ""].json_schema_extra
        return entry(given, str(extra["unit"])) if isinstance(extra, dict) and extra.get("ranged") else given


def ranged(says: str, unit: str) -> Any:  # noqa: ANN401
    """Field of a `Quantity` that may be left out."""
    return setting(None, says=says, unit=unit, ranged=True)


def _above_zero(number: Quantity) -> Quantity:
    if number.span[0] <= 0:
        message = f"above 0 {number.unit}"
        raise ValueError(message)
    return number


def _part(number: Quantity) -> Quantity:
    if number.span[0] <= 0 or number.span[1] > 1:
        message = f"above 0 and at most 1 {number.unit.removeprefix('1')}".strip()
        raise ValueError(message)
    return number


def _spread(rate: Quantity) -> Quantity:
    if rate.unit != "t/ha" or rate.span[0] < 0:
        message = '0 or more, in unit = "t/ha"'
        raise ValueError(message)
    return rate


Positive = Annotated[Quantity, AfterValidator(_above_zero)]
"""A number above 0."""

Part = Annotated[Quantity, AfterValidator(_part)]
"""A share of a whole that is not nothing."""

SpreadRate = Annotated[Quantity, AfterValidator(_spread)]
"""Tonnes per hectare, 0 or more."""
