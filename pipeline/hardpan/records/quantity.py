"""A number with unit, range and source."""

from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from hardpan.core.settings import Settings


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


def _above_zero(number: Quantity) -> Quantity:
    if number.span[0] <= 0:
        message = f"above 0 {number.unit}"
        raise ValueError(message)
    return number


def _spread(rate: Quantity) -> Quantity:
    if rate.unit != "t/ha" or rate.span[0] < 0:
        message = '0 or more, in unit = "t/ha"'
        raise ValueError(message)
    return rate


Positive = Annotated[Quantity, AfterValidator(_above_zero)]
"""A number above 0."""

SpreadRate = Annotated[Quantity, AfterValidator(_spread)]
"""Tonnes per hectare, 0 or more."""
