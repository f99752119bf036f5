"""Units that readers are used to, in the units inside."""

from collections.abc import Mapping
from dataclasses import dataclass

from hardpan.core.said import INSIDE, Measure
from hardpan.core.units import (
    INCH_MM,
    KM_PER_MILE,
    KN_PER_POUND_FORCE,
    KPA_PER,
    L_PER_US_GALLON,
    M2_PER_ACRE,
    M2_PER_HA,
    MM_PER,
    POUND_KG,
    W_PER_HP,
)

HA_PER_ACRE = M2_PER_ACRE / M2_PER_HA

_TON_T = 2000.0 * POUND_KG / 1000.0
"""The ton that is used in the United States, 2000 lb (NIST Handbook 44, appendix C, from memory)."""

_LBF_PER_INCH = 1000.0 * KN_PER_POUND_FORCE / (INCH_MM / 10.0)
"""Newton per centimetre in a pound of force per inch."""

_GALLON_PER_HP_HOUR = L_PER_US_GALLON / (W_PER_HP / 1000.0)
"""Litres per kilowatt-hour in a gallon per horsepower-hour."""

NAMED = {
    unit: measure for measure, unit in INSIDE.items() if measure not in {Measure.RAIN, Measure.MONEY, Measure.PRICE}
}
"""Unit of a number inside to what it measures; "mm" is a depth."""


@dataclass(frozen=True, slots=True)
class Scale:
    """A unit: how many of the unit inside make one of it, and how finely it is written."""

    unit: str
    size: float
    decimals: int | None = None
    """None: as finely as is asked for in the unit inside."""
    trim: bool = False
    """Zeros at the end are dropped."""


US: Mapping[Measure, Scale] = {
    Measure.RAIN: Scale("in", INCH_MM, 1),
    Measure.DISTANCE: Scale("ft", MM_PER["ft"] / 1000.0, 0),
    Measure.AREA: Scale("ac", HA_PER_ACRE),
    Measure.STRENGTH: Scale("psi", KPA_PER["psi"], 0),
    Measure.POWER: Scale("hp", W_PER_HP / 1000.0, 0),
    Measure.FORCE: Scale("lbf", KN_PER_POUND_FORCE, 0),
    Measure.MASS: Scale("lb", POUND_KG, 0),
    Measure.SPEED: Scale("mph", KM_PER_MILE, 1),
    Measure.VOLUME: Scale("gal", L_PER_US_GALLON, 0),
    Measure.YIELD: Scale("lb/ac", POUND_KG / 1000.0 / HA_PER_ACRE, 0),
    Measure.SPREAD: Scale("lb/ac", POUND_KG / HA_PER_ACRE, 0),
    Measure.FUEL_RATE: Scale("gal/ac", L_PER_US_GALLON / HA_PER_ACRE, 1),
    Measure.WORK_RATE: Scale("h/ac", 1.0 / HA_PER_ACRE, 2),
    Measure.MONEY: Scale("ac", 1.0 / HA_PER_ACRE, 0),
    Measure.PRICE: Scale("ton", 1.0 / _TON_T, 0),
}


COMPOUND: Mapping[str, Scale] = {
    "t": Scale("ton", _TON_T),
    "MPa": Scale("psi", KPA_PER["psi"] / 1000.0),
    "MPa / %": Scale("psi / %", KPA_PER["psi"] / 1000.0),
    "N/cm": Scale("lbf/in", _LBF_PER_INCH),
    "N/cm per km/h": Scale("lbf/in per mph", _LBF_PER_INCH / KM_PER_MILE),
    "N/cm per (km/h)^2": Scale("lbf/in per mph^2", _LBF_PER_INCH / KM_PER_MILE**2),
    "mm/s": Scale("in/s", INCH_MM),
    "mm/cm": Scale("in/ft", INCH_MM / (MM_PER["ft"] / MM_PER["cm"])),
    "L/kWh of PTO power used": Scale("gal/hp-h of PTO power used", _GALLON_PER_HP_HOUR),
    "L/h per kW of rated PTO power": Scale("gal/h per hp of rated PTO power", _GALLON_PER_HP_HOUR),
    "kg per PTO horsepower": Scale("lb per PTO horsepower", POUND_KG),
    "kg CaCO3/t": Scale("lb CaCO3/ton", POUND_KG / _TON_T),
    "t/ha per meq/100 g in 300 mm": Scale("ton/ac per meq/100 g in 11.8 in", _TON_T / HA_PER_ACRE),
}
"""Units of shipped numbers that are made of others."""
