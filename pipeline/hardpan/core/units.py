"""Units at the doors; inside there are only millimetres, kilopascals, metres and hectares.

The factors are exact by definition (BIPM SI Brochure, 9th edition; NIST SP 811 appendix B.8). Money has the signs
that people write.
"""

from collections.abc import Mapping

from hardpan.core.errors import SettingsError

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
KG_PER_SHORT_TON = 2000.0 * POUND_KG
KN_PER_POUND_FORCE = POUND_KG * STANDARD_GRAVITY / 1000.0

SIGNS = {"AUD": "$", "CAD": "$", "NZD": "$", "USD": "$", "EUR": "€", "GBP": "£"}
"""Signs of ISO 4217 currency codes; other codes stand for themselves."""


def factor(unit: str, table: Mapping[str, float], *, key: str) -> float:
    """Factor of `unit` in `table`.

    Raises
    ------
    SettingsError
        The unit is not in the table; `key` names the option to mend.
    """
    if unit not in table:
        raise SettingsError(what=f"unit {unit!r} is not known", where=key, right=", ".join(table))
    return table[unit]


def sign_of(currency: str) -> str:
    """Sign of a currency code, the code itself where it has none."""
    return SIGNS.get(currency, currency)


def name_of(currency: str) -> str:
    """Currency with its sign, for where it is named once: "AUD ($)"."""
    return f"{currency} ({SIGNS[currency]})" if currency in SIGNS else currency
