"""Text that keeps its quantities, so that a reader of other units gets them in his."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Any


class Measure(StrEnum):
    """What a number measures; the value is its name in an error."""

    DEPTH = "depth"
    RAIN = "rain"
    DISTANCE = "distance"
    AREA = "area"
    STRENGTH = "strength"
    POWER = "power"
    FORCE = "force"
    MASS = "mass"
    SPEED = "speed"
    VOLUME = "volume"
    YIELD = "yield"
    SPREAD = "spread"
    FUEL_RATE = "fuel rate"
    WORK_RATE = "work rate"
    MONEY = "money by area"
    PRICE = "money by mass"


INSIDE: Mapping[Measure, str] = {
    Measure.DEPTH: "mm",
    Measure.RAIN: "mm",
    Measure.DISTANCE: "m",
    Measure.AREA: "ha",
    Measure.STRENGTH: "kPa",
    Measure.POWER: "kW",
    Measure.FORCE: "kN",
    Measure.MASS: "kg",
    Measure.SPEED: "km/h",
    Measure.VOLUME: "L",
    Measure.YIELD: "t/ha",
    Measure.SPREAD: "kg/ha",
    Measure.FUEL_RATE: "L/ha",
    Measure.WORK_RATE: "h/ha",
    Measure.MONEY: "ha",
    Measure.PRICE: "t",
}
"""Unit of each measure inside; of money by area or mass, the area or mass."""

_MARKED = {
    unit: measure for measure, unit in INSIDE.items() if measure not in {Measure.RAIN, Measure.MONEY, Measure.PRICE}
}
"""Unit in a marked text to what it measures; "mm" is a depth."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A number in the unit its measure has inside."""

    value: float
    measure: Measure
    decimals: int | None = 0
    """Decimals in the unit inside; None: as many as it has, at most six digits."""
    bare: bool = False
    """Its unit follows a later number of the same sentence."""
    sign: str = ""
    """Sign of the currency, of money."""

    @property
    def unit(self) -> str:
        """Unit inside."""
        return f"{self.sign}/{INSIDE[self.measure]}" if self.sign else INSIDE[self.measure]

    def __str__(self) -> str:
        """Number and unit as they are inside."""
        number = f"{self.value:g}" if self.decimals is None else f"{self.value:.{self.decimals}f}"
        return number if self.bare else f"{number} {self.unit}"


class Said(str):
    """A sentence in the units of the computation that remembers its template and the parts put into it."""

    template: str
    parts: Mapping[str, object]

    def __new__(cls, template: str, /, **parts: object) -> "Said":
        """Text of `template` with its named `parts`: an `Amount`, another `Said`, or anything that has a text."""
        said = super().__new__(cls, template.format(**parts))
        said.template, said.parts = template, MappingProxyType(parts)
        return said

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, Any]]:
        """What makes the same sentence again in another process."""
        return (self.template,), dict(self.parts)

    def __getstate__(self) -> None:
        """Nothing beyond that."""

    def told(self, say: Callable[[Amount], str]) -> str:
        """The sentence with every amount as `say` writes it."""
        return self.template.format(**{name: _part(part, say) for name, part in self.parts.items()})


def _part(part: object, say: Callable[[Amount], str]) -> object:
    if isinstance(part, Amount):
        return say(part)
    return part.told(say) if isinstance(part, Said) else part


def percent(share: float, decimals: int = 0) -> str:
    """A share in per cent."""
    return f"{100.0 * share:.{decimals}f} %"


def joined(parts: Iterable[object], between: str) -> Said:
    """Amounts, sentences and other parts in a row."""
    named = {f"a{place}": part for place, part in enumerate(parts)}
    return Said(between.join(f"{{{name}}}" for name in named), **named)


def marked(text: str) -> Said:
    """Sentence of a table of `configs/`, in which quantities stand in braces.

    `{600 mm}` is a number with its unit, `{0-100 mm}` a range, and `{0-100 [mm]}` a range whose unit is not written
    because that of a later one serves both.

    Raises
    ------
    ValueError
        A brace is not closed, or holds no number with a unit of `INSIDE`.

    Examples
    --------
    >>> marked("clay within {600 mm}")
    'clay within 600 mm'
    >>> marked("pH in {0-100 [mm]} and {100-200 mm}")
    'pH in 0-100 and 100-200 mm'
    """
    head, *rest = text.split("{")
    template, parts = head, dict[str, object]()
    for piece in rest:
        mark, closed, tail = piece.partition("}")
        if not closed:
            message = f"a closing brace after {mark!r}"
            raise ValueError(message)
        template += f"{{a{len(parts)}}}{tail}"
        parts[f"a{len(parts)}"] = _quantity(mark)
    return Said(template, **parts)


def _quantity(mark: str) -> Said:
    number, _, unit = mark.rpartition(" ")
    measure = _MARKED.get(unit.strip("[]"))
    ends = number.split("-")
    if measure is None or not all(end.replace(".", "", 1).isdigit() for end in ends):
        message = f"a number and a unit in {{{mark}}}, one of {', '.join(_MARKED)}"
        raise ValueError(message)
    amounts = [
        Amount(float(end), measure, len(end.partition(".")[2]), bare=unit.startswith("[") or place < len(ends) - 1)
        for place, end in enumerate(ends)
    ]
    return joined(amounts, "-")


def depth(value_mm: float, decimals: int | None = 0, *, bare: bool = False) -> Amount:
    """Depth, height or spacing in mm."""
    return Amount(value_mm, Measure.DEPTH, decimals, bare)


def distance(value_m: float, decimals: int | None = None) -> Amount:
    """Distance over ground in m."""
    return Amount(value_m, Measure.DISTANCE, decimals)


def area(value_ha: float, decimals: int | None = 2) -> Amount:
    """Area in ha."""
    return Amount(value_ha, Measure.AREA, decimals)


def strength(value_kpa: float, decimals: int | None = 0, *, bare: bool = False) -> Amount:
    """Cone index in kPa."""
    return Amount(value_kpa, Measure.STRENGTH, decimals, bare)


def speed(value_kmh: float, decimals: int | None = None) -> Amount:
    """Speed in km/h."""
    return Amount(value_kmh, Measure.SPEED, decimals)


def per_t(value: float, sign: str, *, bare: bool = False) -> Amount:
    """Money by mass, per t; `sign` is that of the currency."""
    return Amount(value, Measure.PRICE, None, bare, sign)


def per_ha(value: float, sign: str, *, bare: bool = False) -> Amount:
    """Money by area, per ha; `sign` is that of the currency."""
    return Amount(value, Measure.MONEY, bare=bare, sign=sign)
