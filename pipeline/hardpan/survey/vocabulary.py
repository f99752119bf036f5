"""The language of tables: what columns, units and marks are called in the wild."""

import re
import unicodedata
from collections.abc import Mapping
from functools import lru_cache

from hardpan.core.units import MM_PER

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    role: tuple(names.split(", "))
    for role, names in {
        "x": "x, longitude, lon, long, lng, easting, eastings, east, coord x, xcoord, x coord, rechtswert, ostwert,"
        " ost, este, longitud, lange, laenge, gps lon, gps longitude, utm e, utm x, coordenada x",
        "y": "y, latitude, lat, northing, northings, north, coord y, ycoord, y coord, hochwert, nordwert, nord, norte,"
        " latitud, breite, gps lat, gps latitude, utm n, utm y, coordenada y",
        "depth": "depth, tiefe, profundidad, profondeur, diepte, dybde, prof, depth below surface, soil depth",
        "resistance": "cone index, ci, penetration resistance, resistance, cone resistance, soil resistance,"
        " penetrometer resistance, soil strength, strength, pr, rp, widerstand, eindringwiderstand, resistencia,"
        " resistencia a la penetracion, weerstand, reading, value, pressure, force, force n, penetration force",
        "site": "site, site id, probe site, probe, probe id, point, point id, sample site, location, hole, station,"
        " punkt, messpunkt, standort, punto, sitio, placette, id, number, no, nr, num, name, sample, sample id,"
        " plot, probe no, point no",
        "insertion": "insertion, insertion id, replicate, rep, repetition, wiederholung, repeticion, drop, push, stab,"
        " stich, replication, insertion no, rep no",
        "moisture": "theta, vwc, volumetric water content, gravimetric water content, gwc, soil moisture,"
        " moisture, swc, water content, theta m3 m3,"
        " vwc pct, theta pct, moisture pct, bodenfeuchte, humedad",
        "date": "date, datum, fecha, probing date, date time, datetime, timestamp, time, sampling date, survey date,"
        " measurement date, date of measurement, date measured, date sampled, sample date, sampled,"
        " measured, measured on,"
        " collection date, day, gps date, messdatum, aufnahmedatum, fecha de muestreo, fecha de medicion",
        "device": "device, device id, device no, device serial, instrument, instrument id, instrument no,"
        " instrument serial, penetrometer, penetrometer id, penetrometer no, logger, logger id, serial, serial no,"
        " serial number, geraet, messgeraet, dispositivo",
        "se": "se, sem, s e, s e m, se mean, se of mean, std err, std error, stderr, standard error,"
        " standard error of mean, standard error of the mean, standard error mean",
        "sd": "sd, s d, std, stdev, st dev, std dev, stddev, standard deviation",
        "n": "n, count, insertions, replicates, reps, repetitions, n insertions, n reps, no of insertions,"
        " number of insertions, number of replicates, no of replicates, sample size",
    }.items()
}
"""Names of columns, folded and bare, the surest first."""
STRONG: Mapping[str, frozenset[str]] = {
    "x": frozenset({"longitude", "lon", "easting", "rechtswert", "longitud"}),
    "y": frozenset({"latitude", "lat", "northing", "hochwert", "latitud"}),
    "depth": frozenset({"depth", "tiefe", "profundidad", "profondeur"}),
    "resistance": frozenset({"resistance", "widerstand", "resistencia", "ci"}),
    "site": frozenset({"site", "probe", "point", "punkt"}),
    "insertion": frozenset({"insertion", "replicate", "rep"}),
    "moisture": frozenset({"theta", "vwc", "moisture"}),
    "date": frozenset({"date", "datum", "fecha"}),
}
"""Single words that tell a column where its whole name is not known."""
SPREAD: Mapping[str, re.Pattern[str]] = {
    "se": re.compile(
        r"(?<![a-z])(?:s\.?\s?e\.?(?:\s?m\.?)?|std\.?\s?err(?:or)?\.?|standard errors?)"
        r"(?:\s?(?:of\s)?(?:the\s)?mean)?(?![a-z])"
    ),
    "sd": re.compile(r"(?<![a-z])(?:s\.?d\.?|std\.?(?:\s?dev\.?)?|st\.?\s?dev\.?|standard deviations?)(?![a-z])"),
}
"""Words that make of a column's name the standard error, or standard deviation, of what the rest names."""
SENTINELS = (-1.0, -9.0, -99.0, -999.0, -9999.0, -99999.0, -32768.0, 9999.0, 99999.0, 999999.0, 32767.0, 65535.0)
"""Values that loggers write for "not measured", in the unit of the file."""
OTHER_DEVICE = re.compile(r"\b(dcp|dynamic|hammer|blows?|blow count|penetration index|dcpi)\b")
"""Names of another variable: blows, not resistance."""
OTHER_CONE = re.compile(r"\b60\s?(?:°|deg\b|degrees?\b)")
"""A cone of 60 degrees reads another variable than one of 30."""
LENGTH: Mapping[str, str] = {
    "mm": r"mm|millimet(?:er|re)s?|milimetros?",
    "cm": r"cms?|centimet(?:er|re)s?|centimetros?",
    "in": r"in|inch|inches|zoll|pulgadas?|\"|″",
    "m": r"m|met(?:er|re)s?|metros?",
}
PRESSURE: Mapping[str, str] = {
    "kPa": r"kpa|k(?:ilo)?[ -]?pas[ck]al(?:s|)|kn/m2",
    "MPa": r"mpa|m(?:ega)?[ -]?pas[ck]al(?:s|)|n/mm2",
    "psi": r"psi|lbf?/in2|lb/sq ?in|(?:pounds?|lbs?) per square inch",
    "kgf/cm2": r"(?:kgf?|kilograms?(?:[ -]force)?) per square centimet(?:er|re)|kgf?\s?[/. ]?\s?cm\s?-?[2²]",
    "bar": r"bars?",
    "N": r"n|newtons?",
}
_NAMES = 4096
"""Names remembered: a header is looked at once for every separator and layout it may have."""
_LENGTH_TEXT = re.compile(r"\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d{1,3})?)\s*([a-z\"″]*)\s*")
_LENGTH = {unit: re.compile(rf"(?<![a-z])(?:{names})(?![a-z])") for unit, names in LENGTH.items()}
_PRESSURE = {unit: re.compile(rf"(?<![a-z/])(?:{names})(?![a-z])") for unit, names in PRESSURE.items()}


@lru_cache(maxsize=_NAMES)
def fold(name: str) -> str:
    """Name without case, accents, underscores and doubled spaces."""
    if name.isascii():
        return " ".join(name.lower().replace("_", " ").split())
    plain = unicodedata.normalize("NFKD", name.replace("²", "2").casefold())
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    return " ".join(plain.replace("_", " ").split())


@lru_cache(maxsize=_NAMES)
def bare(name: str) -> str:
    """Folded name without brackets and units, for looking up."""
    text = re.sub(r"\(.*?\)|\[.*?\]", " ", name)
    patterns = [pattern for unit, pattern in _PRESSURE.items() if unit != "N"]
    for pattern in (*patterns, *_LENGTH.values()):
        text = pattern.sub(" ", text) if len(text.split()) > 1 else text
    return " ".join(re.sub(r"[^a-z0-9]+", " ", text.replace("%", " pct ")).split())


@lru_cache(maxsize=_NAMES)
def length_unit(name: str) -> str | None:
    """Unit of length that a folded name states, or None."""
    return next((unit for unit, pattern in _LENGTH.items() if pattern.search(name)), None)


@lru_cache(maxsize=_NAMES)
def pressure_unit(name: str) -> str | None:
    """Unit of cone index or force that a folded name states, or None."""
    return next((unit for unit, pattern in _PRESSURE.items() if pattern.search(name)), None)


SHALLOWEST_CLAY_MM = 80.0
"""Depths to clay that are all less are likely to be in cm, or the topsoil is clay."""


def length_mm(text: str, unit: str) -> float:
    """Length in mm that a text such as "350 mm" states, in `unit` where it names none; NaN for no length."""
    match = _LENGTH_TEXT.fullmatch(fold(text))
    stated = None if match is None else length_unit(match[2]) if match[2] else unit
    return float(match[1].replace(",", ".")) * MM_PER[stated] if match is not None and stated else float("nan")


def spread_of(name: str) -> tuple[str, str] | None:
    """Kind of spread, "se" or "sd", that a folded name states, and the rest of the name; None for another column.

    Examples
    --------
    >>> spread_of("5 cm se"), spread_of("std. error (kpa)"), spread_of("cone index")
    (('se', '5 cm'), ('se', '(kpa)'), None)
    """
    for kind, pattern in SPREAD.items():
        if pattern.search(name):
            return kind, " ".join(re.sub(r"^[ :,/\-]+|[ :,/\-]+$|\(\s*\)|\bof\b", " ", pattern.sub(" ", name)).split())
    return None


def is_unit(cell: str) -> bool:
    """Whether a folded cell is nothing but a unit."""
    if cell in {"deg", "degree", "degrees", "°", "decimal degrees"}:
        return True
    return any(pattern.fullmatch(cell) for pattern in (*_LENGTH.values(), *_PRESSURE.values()))


def says_degrees(name: str) -> bool:
    """Whether a column of y is called latitude."""
    return bool(re.search(r"\b(lat|latitude|latitud|breite)\b", fold(name)))
