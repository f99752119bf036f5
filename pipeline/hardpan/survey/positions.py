"""Position cells to coordinates: degrees in any notation, metres, and what cannot be a place."""

import re

import numpy as np
import pandas as pd
import pyproj

from hardpan.core.arrays import Bools, Floats
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.said import Said, distance
from hardpan.records.issues import Issue
from hardpan.survey.notes import Axes, counted, listed, warned

_ANGLE = re.compile(
    r"(?P<first>[NSEW])?\s*(?P<sign>[+\-−])?\s*(?P<deg>\d{1,3}(?:[.,]\d+)?)\s*(?P<mark>[°º˚]|deg|d)?\s*"
    r"(?:(?P<min>\d{1,2}(?:[.,]\d+)?)\s*(?:['′’´]|min|m)?\s*)?"
    r"(?:(?P<sec>\d{1,2}(?:[.,]\d+)?)\s*(?:\"|″|”|''|sec)?\s*)?(?P<last>[NSEW])?",
    re.IGNORECASE,
)
BEYOND = 1e9
"""No projected coordinate is so large."""
COARSE_DECIMALS = 4
"""Degrees with so many decimals are good to 11 m at best."""
M_PER_DEGREE = 111_000.0
_DECIMALS = re.compile(r"[+\-−]?\d{1,3}(?:[.,](\d+))?")
_RECEIVER = re.compile(r"[+\-]?\d{3,5}\.\d{2,}\s*[NSEW]", re.IGNORECASE)
_BLANK = frozenset(
    ("", "na", "n/a", "nan", "null", "none", "-", "--", "no fix", "nofix", "no gps", "999", "-999", "-9999", "9999")
)


def read_axes(insertions: pd.DataFrame, mark: str, *, degree_names: bool, file: str) -> Axes:
    """Coordinates of the text columns `x` and `y`.

    Raises
    ------
    InputError
        No position can be read, or a value cannot be a latitude.
    """
    if insertions.empty:
        raise InputError(what="table has a header but no rows", where=file, do="export it again")
    x, x_letters, x_marked, x_bad = _axis(insertions["x"], mark, file)
    y, y_letters, y_marked, y_bad = _axis(insertions["y"], mark, file)
    issues: list[Issue] = []
    if x_letters & {"N", "S"} or y_letters & {"E", "W"}:
        if x_letters <= {"N", "S"} and y_letters <= {"E", "W"}:
            x, y = y, x
            issues.append(
                warned("swapped-axes", "letters show latitude in the column of x", "the two were swapped", file=file)
            )
        else:
            raise InputError(what="a column mixes letters of latitude and longitude", where=file, do="mend the columns")
    bad = x_bad | y_bad
    if bad.all():
        raise InputError(
            what=f"no position can be read, such as {insertions['x'].iloc[0]!r}, {insertions['y'].iloc[0]!r}",
            where=file,
            right="numbers or degrees and minutes",
            do="name the columns in [probes.columns]",
        )
    if bad.any():
        rows = insertions["row"].to_numpy()[bad]
        issues.append(
            warned(
                "no-position",
                f"{int(bad.sum())} insertions have no readable position",
                "dropped",
                file=file,
                place=f"row {listed(list(rows))}",
            )
        )
    degrees = x_marked or y_marked or degree_names
    nowhere = (x == 0) & (y == 0)
    if nowhere.any():
        issues.append(_zero(insertions, nowhere, file))
    issues += _coarse(insertions, degrees=degrees, file=file)
    keep = ~(bad | nowhere)
    if not keep.any():
        raise InputError(what="no position is anything but blank or 0, 0", where=file, do="give positions")
    return Axes(
        x=np.where(keep, x, np.nan), y=np.where(keep, y, np.nan), written_as_degrees=degrees, issues=tuple(issues)
    )


def _coarse(insertions: pd.DataFrame, *, degrees: bool, file: str) -> list[Issue]:
    cells = [str(cell) for axis in ("x", "y") for cell in pd.unique(insertions[axis])]
    plain = [match for match in map(_DECIMALS.fullmatch, cells) if match]
    if not degrees or len(plain) < len(cells) / 2:
        return []
    most = max(len(match[1] or "") for match in plain)
    if most > COARSE_DECIMALS:
        return []
    step_m = M_PER_DEGREE / 10**most
    decimals = 0 if step_m >= 10 else 1
    what = Said(
        "positions have {most} decimals of a degree, steps of about {step}", most=most, step=distance(step_m, decimals)
    )
    return [warned("coarse-positions", what, "used as they are", file=file)]


def _zero(insertions: pd.DataFrame, nowhere: Bools, file: str) -> Issue:
    names = sorted(set(insertions["site"].to_numpy()[nowhere]))
    return warned(
        "zero-position",
        f"{int(nowhere.sum())} insertions stand at 0, 0",
        "dropped: the receiver had no fix",
        file=file,
        place=f"site {listed(names)}",
    )


def _axis(cells: pd.Series, mark: str, file: str) -> tuple[Floats, set[str], bool, Bools]:
    codes, unique = pd.factorize(cells.to_numpy(dtype=object))
    values = np.full(len(unique), np.nan)
    letters: set[str] = set()
    marked = False
    for at, cell in enumerate(unique):
        text = str(cell).strip().removeprefix("'").replace("Â°", "°")
        if text.casefold() in _BLANK:
            continue
        if _RECEIVER.fullmatch(text):
            raise AmbiguousInputError(
                what=f"{text!r} may be degrees and minutes of a receiver (dddmm.mmmm) or plain degrees",
                where=file,
                do="write the positions in decimal degrees",
            )
        values[at], letter, sign = _angle(text, mark)
        letters |= {letter} - {""}
        marked = marked or sign or bool(letter)
    read = values[codes]
    return read, letters, marked, ~(np.abs(read) < BEYOND)


def _angle(text: str, mark: str) -> tuple[float, str, bool]:
    plain = text.replace(",", ".") if mark == "," else text
    try:
        return float(plain.replace("−", "-")), "", False
    except ValueError:
        pass
    if re.fullmatch(r"[+\-−]?\d{1,3}(,\d{3})+(\.\d+)?", text) and mark == ".":
        return float(text.replace(",", "").replace("−", "-")), "", False
    match = _ANGLE.fullmatch(text)
    if match is None or not (match["mark"] or match["first"] or match["last"]):
        return np.nan, "", False
    degrees, minutes, seconds = (float((match[part] or "0").replace(",", ".")) for part in ("deg", "min", "sec"))
    letter = (match["first"] or match["last"] or "").upper()
    if minutes >= 60 or seconds >= 60 or (match["first"] and match["last"]):
        return np.nan, "", False
    negative = letter in {"S", "W"} or match["sign"] in {"-", "−"}
    if match["sign"] in {"-", "−"} and letter in {"N", "E"}:
        return np.nan, "", False
    size = degrees + minutes / 60 + seconds / 3600
    return -size if negative else size, letter, bool(match["mark"])


def choose_crs(
    axes: Axes, stated: pyproj.CRS | None, ground: pyproj.CRS, *, key: str, file: str, columns: str = "probes.columns"
) -> tuple[pyproj.CRS, tuple[Issue, ...]]:
    """CRS of the positions: stated, or WGS 84 where they are plainly degrees.

    `columns` is the table of settings that names their columns, "" where there is none.

    Raises
    ------
    AmbiguousInputError
        Nobody states it and the values are no degrees.
    InputError
        A latitude is beyond 90, or metres are called degrees.
    """
    inside = (np.abs(axes.x) <= 180) & (np.abs(axes.y) <= 90)
    known = np.isfinite(axes.x)
    fits = bool(inside[known].all())
    if not fits and (np.abs(axes.x)[known] <= 180).any() and (np.abs(axes.x)[known] > 360).any():
        raise InputError(
            what=f"{int(inside[known].sum())} positions are degrees and {int((known & ~inside).sum())} are not",
            where=file,
            right="one CRS throughout",
            do="bring the positions to one CRS",
        )
    if stated is None and fits and axes.written_as_degrees:
        crs = pyproj.CRS.from_epsg(4326)
        if (ground.geodetic_crs or ground).to_epsg(min_confidence=70) == 4326:
            return crs, ()
        return crs, (
            warned(
                "crs-assumed",
                "positions in degrees state no datum",
                f"taken as WGS 84; they may be out by 2 m, {key} states it",
                file=file,
            ),
        )
    if stated is None and not axes.written_as_degrees:
        raise AmbiguousInputError(what="positions state no CRS", where=file, do=f"state it in {key}, e.g. EPSG:4326")
    if (stated is None or stated.is_geographic) and not fits:
        raise _no_degrees(axes, key, file, columns)
    if stated is None:
        raise AmbiguousInputError(what="positions state no CRS", where=file, do=f"state it in {key}")
    if stated.is_projected and fits and axes.written_as_degrees:
        raise AmbiguousInputError(
            what=f"positions are degrees but {key} is projected", where=file, do=f"mend {key}, e.g. EPSG:4326"
        )
    return stated, ()


def _no_degrees(axes: Axes, key: str, file: str, columns: str) -> InputError:
    if np.nanmax(np.abs(axes.y)) <= 180 and np.nanmax(np.abs(axes.x)) <= 90:
        worst = axes.y[np.nanargmax(np.abs(axes.y))]
        return InputError(
            what=f"latitude beyond 90 ({worst:.4f}): latitude and longitude seem swapped",
            where=file,
            do=f"swap {columns}.x and {columns}.y" if columns else "swap the names of the two columns",
        )
    off = (np.abs(axes.x) > 180) | (np.abs(axes.y) > 90)
    at = int(np.argmax(off))
    few = off.sum() < np.isfinite(axes.x).sum() / 2
    return InputError(
        what=f"{counted(int(off.sum()), 'position')} cannot be degrees, such as x {axes.x[at]:.9g}, y {axes.y[at]:.9g}"
        " (latitude beyond 90 or longitude beyond 180)",
        where=file,
        do="mend them" if few else f"state their projected CRS in {key}",
    )
