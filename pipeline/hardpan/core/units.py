"""Units at the doors; inside there are only millimetres, kilopascals, metres and hectares.

The factors are exact by definition (BIPM SI Brochure, 9th edition; NIST SP 811 appendix B.8). Any other unit that a
number is given with comes to that inside by `convert`. Money has the signs that people write.
"""

import re
from collections.abc import Mapping
from functools import cache
from tokenize import TokenError
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pint import UnitRegistry

STANDARD_GRAVITY = 9.80665
"""m/s2, by definition."""

POUND_KG = 0.45359237
"""kg in an avoirdupois pound, by definition."""

INCH_MM = 25.4
"""mm in an inch, by definition."""

KPA_PER: Mapping[str, float] = {
    "kPa": 1.0,
    "MPa": 1000.0,
    "psi": POUND_KG * STANDARD_GRAVITY / (INCH_MM * INCH_MM * 1e-6) / 1000.0,
    "kgf/cm2": STANDARD_GRAVITY * 10.0,
    "bar": 100.0,
}
"""kPa in one of each unit of cone index; a force in N needs the cone's base area as well."""

MM_PER: Mapping[str, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": INCH_MM, "ft": 12 * INCH_MM}
"""mm in one of each unit of depth."""

M2_PER_HA = 10_000.0
M2_PER_ACRE = 4046.8564224
L_PER_US_GALLON = 3.785411784
W_PER_HP = 745.6998715822702
KM_PER_MILE = 1.609344
KMH_PER_MS = 3.6
KN_PER_POUND_FORCE = POUND_KG * STANDARD_GRAVITY / 1000.0

SIGNS = {"AUD": "$", "CAD": "$", "NZD": "$", "USD": "$", "EUR": "€", "GBP": "£"}
"""Signs of ISO 4217 currency codes; other codes stand for themselves."""


def sign_of(currency: str) -> str:
    """Sign of a currency code, the code itself where it has none."""
    return SIGNS.get(currency, currency)


def name_of(currency: str) -> str:
    """Currency with its sign, for where it is named once: "AUD ($)"."""
    return f"{currency} ({SIGNS[currency]})" if currency in SIGNS else currency


MONEY = "money"
"""Stands for the currency in the unit of a setting, as in "money/L"."""

_GIVEN = re.compile(r"\s*([+-]?(?:\d+(?:_\d+)*\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\W\d_].*?|[%°\"].*?)\s*")
_POWER = re.compile(r"(?<=[A-Za-z])\^?([23])(?![0-9])")
_OTHER_NAMES = {
    "ac": "international_acre",
    "acre": "international_acre",
    '"': "inch",
    "share": "dimensionless",
    "ratio": "dimensionless",
    "1": "dimensionless",
}
"""What people and tables call a unit that the library knows by another name, or takes for another unit."""
_CURRENCY = re.compile(r"[A-Z]{3}|" + MONEY)
_BY_VOLUME = re.compile(r"\b(bu|bushels?)\b")


def split_amount(text: str) -> tuple[float, str] | None:
    """Number and unit of a text such as "22 in" or "4.20 USD/gal"; None where it is no number with a unit."""
    match = _GIVEN.fullmatch(text)
    return None if match is None else (float(match[1]), match[2])


def convert(value: float, given: str, wanted: str) -> tuple[float, str]:
    """Value in the unit `wanted`, and that unit with the currency that was given.

    A currency is kept, never changed into another: 4.20 "USD/gal" wanted in "money/L" is 1.11 "USD/L".

    Raises
    ------
    ValueError
        `given` is no unit, or cannot be brought to `wanted`; the message says what would be right.
    """
    if given == wanted:
        return value, wanted
    code, per = currency_of(given)
    home, home_per = currency_of(wanted)
    if (code is None) != (home is None):
        message = f"a unit that can be brought to {wanted}, not {given!r}"
        raise ValueError(message)
    if code is None and given == "%" and wanted == "share/year":
        return value / 100.0, wanted
    if code is None:
        return value * _factor(given, wanted), wanted
    if bool(per) != bool(home_per):
        message = f"money in {wanted}, not {given!r}"
        raise ValueError(message)
    unit = f"{code}/{home_per}" if home_per else code
    return (value / _factor(per, home_per) if per and per != home_per else value), unit


def currency_of(unit: str) -> tuple[str | None, str]:
    """Currency of a unit of money and what it is paid for; None and the unit where it is no money."""
    head, _, per = unit.partition("/")
    return (head.strip(), per.strip()) if _CURRENCY.fullmatch(head.strip()) else (None, unit)


def _factor(given: str, wanted: str) -> float:
    from pint import PintError

    if _BY_VOLUME.search(given):
        message = f"a weight, not {given!r}: what a bushel weighs hangs on the grain"
        raise ValueError(message)
    try:
        units = [_registry().parse_units(_spelt(unit)) for unit in (given, wanted)]
        return float(_registry().Quantity(1.0, units[0]).to(units[1]).magnitude)
    except (PintError, TokenError, ValueError, TypeError, AttributeError) as err:
        message = f"a unit that can be brought to {wanted}, not {given!r}"
        raise ValueError(message) from err


def _spelt(unit: str) -> str:
    """Unit as the library spells it."""
    names = [_OTHER_NAMES.get(name.strip(), name) for name in unit.strip().split("/")]
    return _POWER.sub(r"**\1", "/".join(names).replace("%", "percent").replace("²", "**2"))


@cache
def _registry() -> "UnitRegistry[float]":
    # takes a tenth of a second to load, and most configurations have no number with a unit
    from pint import UnitRegistry

    registry: UnitRegistry[float] = UnitRegistry()
    # the acre of the library is that of the US survey foot, which went out of use in 2022 (NIST SP 811, appendix B.6)
    registry.define("international_acre = 43560 * foot ** 2")
    return registry
