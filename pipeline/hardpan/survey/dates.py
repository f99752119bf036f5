"""Dates in any order to ISO text; a date that can be read two ways is not used."""

import re
from datetime import date

import pandas as pd

from hardpan.records.issues import Issues
from hardpan.survey.notes import listed, warned

_YEAR_FIRST = re.compile(r"(\d{4})[-/.]?(\d{2})[-/.]?(\d{2})(?:[T ].*)?")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})(?:[T ].*)?")


def iso(cells: pd.Series, file: str) -> tuple[pd.Series, Issues]:
    """Each cell as ISO text, "" where it is blank or cannot be used.

    Day and month are told apart by the point (day first), or by any date of the column with a number above 12.
    """
    unique = [str(cell) for cell in pd.unique(cells)]
    last = [match for match in map(_YEAR_LAST.fullmatch, unique) if match]
    day_first = any(int(match[1]) > 12 or match[2] == "." for match in last)
    month_first = any(int(match[3]) > 12 for match in last)
    found = {cell: _iso(cell, day_first=day_first, sure=day_first != month_first) for cell in unique}
    lost = [cell for cell in unique if cell and not found[cell]]
    issues: Issues = ()
    if lost:
        what = f"dates such as {listed(lost, 3)} cannot be read, or can be read in two orders"
        issues = (warned("date", what, "not used; write them as 2026-07-31", file=file),)
    return cells.map(found), issues


def _iso(cell: str, *, day_first: bool, sure: bool) -> str:
    match = _YEAR_FIRST.fullmatch(cell)
    if match:
        return _checked(int(match[1]), int(match[2]), int(match[3]))
    match = _YEAR_LAST.fullmatch(cell)
    if match is None:
        return ""
    one, other = int(match[1]), int(match[3])
    if one == other:
        return _checked(int(match[4]), one, one)
    if not sure:
        return ""
    return _checked(int(match[4]), *((other, one) if day_first else (one, other)))


def _checked(year: int, month: int, day: int) -> str:
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return ""
