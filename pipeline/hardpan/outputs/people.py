"""Numbers as people read them: metric or US customary, always with their unit."""

import re
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.money import name_of, sign_of
from hardpan.core.units import (
    INCH_MM,
    KM_PER_MILE,
    KPA_PER,
    L_PER_US_GALLON,
    M2_PER_ACRE,
    M2_PER_HA,
    MM_PER,
    POUND_KG,
    W_PER_HP,
)
from hardpan.outputs.settings import OutputSettings

N = TypeVar("N", float, Floats)

MISSING = "–"
"""Stands where there is no value: honest or absent."""

_HA_PER_ACRE = M2_PER_ACRE / M2_PER_HA
_FEET_PER_M = 1000.0 / MM_PER["ft"]


_NUMBER = re.compile(r"-?\d+(?:,\d{3})*(?:\.\d+)?")
_QUANTITY = re.compile(
    rf"(?P<head>{_NUMBER.pattern}(?:(?:, | and | to | of ){_NUMBER.pattern})*) "
    r"(?P<unit>[^\s\d]{1,5}/ha|mm(?! roll| thread)|ha|L|kPa|MPa|km/h|kW)\b"
    rf"(?P<tail> and bring {_NUMBER.pattern}\b(?! \S{{0,5}}/ha)"
    rf"|(?: over [\w ]{{1,20}} seasons?)? \(likely(?: range)? {_NUMBER.pattern} to {_NUMBER.pattern})?"
)
_RAIN = re.compile(r" (?:of|more) rain")
_US = {
    "ha": (1.0 / _HA_PER_ACRE, 0, "ac"),
    "L": (1.0 / L_PER_US_GALLON, 0, "gal"),
    "kPa": (1.0 / KPA_PER["psi"], 0, "psi"),
    "MPa": (1000.0 / KPA_PER["psi"], 0, "psi"),
    "km/h": (1.0 / KM_PER_MILE, 1, "mph"),
    "kW": (1000.0 / W_PER_HP, 0, "hp"),
    "t/ha": (1000.0 * _HA_PER_ACRE / POUND_KG, 0, "lb/ac"),
    "kg/ha": (_HA_PER_ACRE / POUND_KG, 0, "lb/ac"),
    "L/ha": (_HA_PER_ACRE / L_PER_US_GALLON, 1, "gal/ac"),
}
"""Metric unit to factor, decimals and unit in US customary units."""


@dataclass(frozen=True, slots=True, kw_only=True)
class People:
    """The units one reader is used to."""

    us: bool
    depth_unit: str
    """The display's: what the operator sees in the cab is what the report says."""
    currency: str
    """Code of the currency; amounts carry its sign where it has one."""

    @classmethod
    def of(cls, settings: OutputSettings, currency: str) -> "People":
        """Give the units of `settings`."""
        return cls(us=settings.units == "us", depth_unit=settings.depth_unit, currency=currency)

    @property
    def sign(self) -> str:
        """Sign of the currency."""
        return sign_of(self.currency)

    @property
    def money_name(self) -> str:
        """Currency with its sign."""
        return name_of(self.currency)

    @property
    def area_unit(self) -> str:
        """Unit of area."""
        return "ac" if self.us else "ha"

    @property
    def strength_unit(self) -> str:
        """Unit of cone index."""
        return "psi" if self.us else "MPa"

    @property
    def volume_unit(self) -> str:
        """Unit of fuel."""
        return "gal" if self.us else "L"

    @property
    def rain_unit(self) -> str:
        """Unit of rain."""
        return "in" if self.us else "mm"

    @property
    def distance_unit(self) -> tuple[float, str]:
        """Metres in the unit of distance on a map, and its name."""
        return (MM_PER["ft"] / 1000.0, "ft") if self.us else (1.0, "m")

    @property
    def depth_unit_name(self) -> str:
        """Unit of depth in full."""
        return {"cm": "centimetres", "mm": "millimetres", "in": "inches"}[self.depth_unit]

    def depth_of(self, depth_mm: N) -> N:
        """Give mm in the display's unit."""
        return depth_mm / MM_PER[self.depth_unit]

    def strength_of(self, cone_index_kpa: N) -> N:
        """Give kPa in psi or MPa."""
        return cone_index_kpa / KPA_PER[self.strength_unit]

    def per_area_of(self, per_ha: N) -> N:
        """Give a quantity per ha, per ac in US units."""
        return per_ha * _HA_PER_ACRE if self.us else per_ha

    def depth(self, depth_mm: float) -> str:
        """Give a depth, for example "45 cm"; trailing zeros dropped."""
        decimals = 0 if self.depth_unit == "mm" else 1
        return _said(self.depth_of(depth_mm), decimals, self.depth_unit, trim=True)

    def rain(self, rain_mm: float) -> str:
        """Give an amount of rain."""
        return _said(rain_mm / MM_PER[self.rain_unit], 1 if self.us else 0, self.rain_unit)

    def spacing(self, spacing_mm: float) -> str:
        """Give the distance between tines."""
        return _said(spacing_mm / (INCH_MM if self.us else 1.0), 0, "in" if self.us else "mm")

    def area(self, area_ha: float) -> str:
        """Give an area."""
        return _said(area_ha / (_HA_PER_ACRE if self.us else 1.0), 1, self.area_unit)

    def fuel(self, litres: float) -> str:
        """Give a volume of fuel."""
        return _said(litres / (L_PER_US_GALLON if self.us else 1.0), 0, self.volume_unit)

    def speed(self, speed_kmh: float) -> str:
        """Give a speed."""
        return _said(speed_kmh / (KM_PER_MILE if self.us else 1.0), 1, "mph" if self.us else "km/h")

    def power(self, power_kw: float) -> str:
        """Give a power."""
        return _said(power_kw * (1000.0 / W_PER_HP if self.us else 1.0), 0, "hp" if self.us else "kW")

    def width(self, width_m: float) -> str:
        """Give a working width."""
        return _said(width_m * (_FEET_PER_M if self.us else 1.0), 1, "ft" if self.us else "m")

    def strength(self, cone_index_kpa: float) -> str:
        """Give a cone index."""
        return _said(self.strength_of(cone_index_kpa), 0 if self.us else 1, self.strength_unit)

    def money(self, amount: float) -> str:
        """Give an amount of money."""
        return _said(amount, 0, self.sign)

    def per_area(self, per_ha: float) -> str:
        """Give money per area."""
        return _said(self.per_area_of(per_ha), 0, f"{self.sign}/{self.area_unit}")

    def span(self, low_per_ha: float, high_per_ha: float) -> str:
        """Give a range of money per area without its unit."""
        if not (np.isfinite(low_per_ha) and np.isfinite(high_per_ha)):
            return MISSING
        return f"{_bare(self.per_area_of(low_per_ha), 0)} to {_bare(self.per_area_of(high_per_ha), 0)}"

    def hours(self, hours: float) -> str:
        """Give a time."""
        return _said(hours, 1, "h")

    def text(self, said: str) -> str:
        """Give a sentence with depths in the display's unit, and its other metric quantities in US units if asked for.

        A quantity is one or more numbers before a unit, and the likely range in brackets that may follow it. Rain is
        in mm or inches, and the hand test's roll of soil stays in mm.
        """
        return _QUANTITY.sub(self._restated, said)

    def _restated(self, found: re.Match[str]) -> str:
        unit = found["unit"]
        if unit == "mm":
            said = self.rain_unit if _RAIN.match(found.string, found.end("unit")) else self.depth_unit
            factor, decimals = 1.0 / MM_PER[said], 0 if said == "mm" else 1
        elif self.us:
            # Of the other units "/ha" ends those of money.
            factor, decimals, said = _US.get(unit, (_HA_PER_ACRE, 0, f"{unit.removesuffix('ha')}ac"))
        else:
            return found[0]

        def restate(number_: re.Match[str]) -> str:
            value = float(number_[0].replace(",", "")) * factor
            return _bare(value, decimals, trim=unit == "mm").replace("−", "-")

        return f"{_NUMBER.sub(restate, found['head'])} {said}{_NUMBER.sub(restate, found['tail'] or '')}"


def share(value: float) -> str:
    """Give a share in per cent."""
    return _said(100.0 * value, 0, "%")


def number(value: object, decimals: int = 2) -> str:
    """Give any cell of a table: numbers with at most `decimals`, text as it is."""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return f"{int(value):,}".replace("-", "−")
    if isinstance(value, (float, np.floating)):
        return _bare(float(value), decimals, trim=True) if np.isfinite(value) else MISSING
    return str(value)


def _said(value: float, decimals: int, unit: str, *, trim: bool = False) -> str:
    return f"{_bare(value, decimals, trim=trim)}\u00a0{unit}" if np.isfinite(value) else MISSING


def _bare(value: float, decimals: int, *, trim: bool = False) -> str:
    text = f"{round(value, decimals) + 0.0:,.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if trim and "." in text else text
    return text.replace("-", "−")
