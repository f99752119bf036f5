"""Text cells to numbers, strictly: decimal and thousands marks, units in cells, marks of doubt, missing tokens."""

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

from hardpan.core.errors import AmbiguousInputError
from hardpan.survey.columns import Numbers, Text

MISSING = frozenset(
    (
        "", "na", "n/a", "n.a.", "nan", "null", "none", "nil", "-", "--", "---", "–", ".", "*", "nd", "n.d.", "missing",
        "?",
    )
)  # fmt: skip
"""Cells that say that nothing was measured, case-folded."""

BEYOND = 1e15
"""No reading is so large; sums of such numbers would overflow."""
_NUMBER = re.compile(
    r"(?P<mark>[~≈<>≥≤]=?)?(?P<number>[+\-−]?(?:\d[\d.,' \u00a0\u2009\u202f]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?)"
    r"\s*(?P<unit>[A-Za-z\"″/²2 .°µ]*)"
)
_SPACES = re.compile(r"[ \u00a0\u2009\u202f']")
_GROUPED = re.compile(r"[+\-−]?\d{1,3}(?:[ \u00a0\u2009\u202f']\d{3})+(?:[.,]\d+)?")
_TOKEN = re.compile(r"\d[\d.,]*")


def decimal_mark(columns: Sequence[Text], asked: str, *, where: str) -> str:
    """Decimal mark of a table, "." or ",".

    Parameters
    ----------
    columns : sequence of Text
        The columns that hold numbers.
    asked : str
        "auto", or the mark the settings state.

    Raises
    ------
    AmbiguousInputError
        The cells can be read both ways.
    """
    if asked != "auto":
        return asked
    tokens = {token.rstrip(".,") for column in columns for cell in column.unique for token in _TOKEN.findall(cell)}
    comma = {token for token in tokens if _is_decimal(token, ",", ".")}
    point = {token for token in tokens if _is_decimal(token, ".", ",")}
    if comma and point:
        raise _either(min(comma), where, also=min(point))
    if comma or point:
        return "," if comma else "."
    grouped = [token for token in tokens if "," in token]
    if grouped:
        raise _either(min(grouped), where)
    for column in columns:
        cells = [cell for cell in column.unique if cell]
        marked = [cell for cell in cells if re.fullmatch(r"[1-9]\d{0,2}(\.\d{3})+", cell)]
        if marked and any(re.fullmatch(r"[1-9]\d{2}", cell) for cell in cells):
            raise _either(min(marked), where)
    return "."


def _is_decimal(token: str, mark: str, other: str) -> bool:
    if token.count(mark) != 1:
        return token.count(other) > 1 and mark not in token
    whole, part = token.split(mark)
    if other in part:
        return False
    return other in whole or len(part) != 3 or len(whole) > 3 or whole in {"", "0"}


def _either(cell: str, where: str, also: str = "") -> AmbiguousInputError:
    more = f" while {also!r} says otherwise" if also else ""
    return AmbiguousInputError(
        what=f"{cell[:40]!r} can be read with a decimal or a thousands mark{more}",
        where=where,
        do='set probes.decimal to "." or ","',
    )


def convert(column: Text, mark: str) -> Numbers:
    """Numbers of a column with decimal mark `mark`; nothing is guessed."""
    codes, unique = column.codes, column.unique
    plain = pd.Series(unique, dtype=object)
    if mark == ",":
        plain = plain.where(~plain.str.contains(".", regex=False), "x").str.replace(",", ".", regex=False)
    fast = pd.to_numeric(plain, errors="coerce").to_numpy(dtype=np.float64, copy=True)
    fast[~(np.abs(fast) < BEYOND)] = np.nan
    size = len(unique)
    flags = {name: np.zeros(size, dtype=bool) for name in ("unreadable", "rough", "at_least", "regrouped")}
    units = np.full(size, "", dtype=object)
    for at in np.flatnonzero(np.isnan(fast)):
        text = str(unique[at]).strip()
        if text.casefold() in MISSING:
            continue
        found = _parse(text, mark)
        if found is None:
            flags["unreadable"][at] = True
            continue
        fast[at], sign, units[at] = found
        flags["rough"][at] = sign in {"~", "≈", "<", "≤", "<="}
        flags["at_least"][at] = sign in {">", "≥", ">="}
        flags["regrouped"][at] = True
    return Numbers(
        value=fast[codes] if size else np.empty(0),
        units=units[codes] if size else np.empty(0, dtype=object),
        **{name: flag[codes] if size else np.empty(0, dtype=bool) for name, flag in flags.items()},
    )


def _parse(text: str, mark: str) -> tuple[float, str, str] | None:
    match = _NUMBER.fullmatch(text.removeprefix("'").removeprefix("’").strip())
    if match is None:
        return None
    number = match["number"].strip().replace("−", "-")
    if _SPACES.search(number):
        if _GROUPED.fullmatch(number) is None:
            return None
        number = _SPACES.sub("", number)
    group = "." if mark == "," else ","
    if group in number:
        head, _, tail = number.partition(mark)
        if group in tail or re.fullmatch(rf"[+-]?\d{{1,3}}(?:{re.escape(group)}\d{{3}})+", head) is None:
            return None
        number = number.replace(group, "")
    try:
        value = float(number.replace(mark, "."))
    except ValueError:
        return None
    return (value, match["mark"] or "", match["unit"].strip().casefold()) if abs(value) < BEYOND else None
