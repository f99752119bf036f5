"""Tables of yield: what their columns are called, and in which units."""

import re
from collections.abc import Mapping, Sequence

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.units import M2_PER_ACRE, M2_PER_HA, POUND_KG
from hardpan.records.trial import HarvestColumns
from hardpan.survey.vocabulary import SYNONYMS, bare, fold

HEADER_ROWS = 60
"""A header further down is not looked for."""

NAMES: Mapping[str, tuple[str, ...]] = {
    "x": SYNONYMS["x"],
    "y": SYNONYMS["y"],
    "value": (
        "yield", "dry yield", "yield dry", "grain yield", "yield mass dry", "yld mass dry", "yld vol dry", "yld",
        "yield mass", "dry matter yield", "ertrag", "rendimiento", "rendement", "produtividade", "value",
    ),
    "flow": ("mass flow", "flow", "mass", "grain flow", "mass flow rate", "massenstrom"),
    "time": ("time", "time s", "gps time", "elapsed time", "timestamp s"),
    "seconds": ("seconds", "duration", "cycles", "interval", "log interval", "duration s"),
    "distance": ("distance", "dist", "distance m", "travel distance"),
    "speed": ("speed", "velocity", "ground speed", "geschwindigkeit", "velocidad"),
    "swath": ("swath", "swath width", "swth wdth", "width", "cut width", "header width"),
    "moisture": ("moisture", "grain moisture", "moist", "feuchte", "humedad", "moisture pct"),
}  # fmt: skip
"""Names of columns, folded and bare, the surest first."""

_UNITS: Mapping[str, str] = {
    "t/ha": r"t\s?/?\s?ha|tonnes? per hectare|mg\s?/\s?ha|t ha-1|t ha",
    "kg/ha": r"kg\s?/?\s?ha|kg ha-1",
    "bu/ac": r"bu\s?/?\s?ac(?:re)?s?|bushels? per acre",
    "q/ha": r"q\s?/?\s?ha|dt\s?/\s?ha|quintals? per hectare",
}
_STATED = {unit: re.compile(rf"(?<![a-z])(?:{names})(?![a-z])") for unit, names in _UNITS.items()}

_RATES = re.compile(r"(?<![a-z])(?:kg ?/ ?s|lbs? ?/ ?s|t ?/ ?h|km ?/ ?h|kmh|m ?/ ?s|mph)(?![a-z])")
"""Units of flow and speed in the name of a column."""

T_PER_HA: Mapping[str, float] = {"t/ha": 1.0, "kg/ha": 0.001, "q/ha": 0.1}
"""Tonnes per hectare in one of each unit of yield but the bushel, whose mass hangs on the grain."""

KG_PER_S: Mapping[str, float] = {"kg/s": 1.0, "lb/s": POUND_KG, "t/h": 1000.0 / 3600.0}
"""kg/s in one of each unit of mass flow."""


def find_columns(names: Sequence[str], asked: HarvestColumns) -> dict[str, int]:
    """Role to column: named by the user first, then by its surest name."""
    cells = [_without_unit(name) for name in names]
    found = {
        role: at for role, wanted in asked if wanted for at, name in enumerate(names)
        if name == wanted or fold(name) == fold(wanted)
    }  # fmt: skip
    for role, known in NAMES.items():
        rank = [(known.index(cell), at) for at, cell in enumerate(cells) if cell in known and at not in found.values()]
        if role not in found and rank:
            found[role] = min(rank)[1]
    return found


def _without_unit(name: str) -> str:
    """Folded name of a column without brackets and units, for looking up."""
    text = fold(name)
    for pattern in (*_STATED.values(), _RATES):
        text = pattern.sub(" ", text)
    return bare(text)


def yield_unit(name: str) -> str | None:
    """Unit of yield that the name of a column states, None where it states none."""
    return next((unit for unit, pattern in _STATED.items() if pattern.search(fold(name))), None)


def bushels_to_t_per_ha(bushel_lb: float) -> float:
    """Tonnes per hectare in a bushel per acre of grain whose bushel weighs so many pounds.

    >>> round(bushels_to_t_per_ha(60.0), 5)  # wheat
    0.06725
    """
    return bushel_lb * POUND_KG / 1000.0 * M2_PER_HA / M2_PER_ACRE


def flow_to_t_per_ha(kg: Floats, area_m2: Floats, moisture_pct: Floats, market_pct: float | None) -> Floats:
    """Tonnes per hectare of `kg` of grain cut from an area, brought to the market's moisture where one is given."""
    dry = 1.0 if market_pct is None else (100.0 - moisture_pct) / (100.0 - market_pct)
    return np.asarray(kg * dry / 1000.0 / area_m2 * M2_PER_HA)
