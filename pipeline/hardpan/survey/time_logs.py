"""Time logs of ISO 11783-10 task data: the header that says what a record holds, and the records."""

import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from xml.etree.ElementTree import Element, ParseError

import numpy as np
from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError

_POSITION = {"A": "i", "B": "i", "C": "i", "D": "B", "E": "H", "F": "H", "G": "B", "H": "I", "I": "H"}
"""Attributes of the position in their order in a record: north, east, up, status, PDOP, HDOP, satellites, UTC."""
_DEGREE = 1e-7
_MS_PER_DAY = 86_400_000
_NO_DATE, _NO_TIME = 65535, 4294967295
_NO_VALUE = (-(2**31), 2**31 - 1)
_NO_PLACE = frozenset({0, 7, 8, 14})
"""Position status without a place of its own: no fix, entered by hand, simulated, error."""
_NOT_STATED = 15


class Damage(StrEnum):
    """What ends the part of a file that can be believed."""

    CUT = "the last record is cut off"
    INDEX = "a value belongs to no entry of the header"
    DATE = "the date jumps by more than a day"


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggedValue:
    """A value that the header declares."""

    ddi: int
    constant: int | None
    """Value for the whole file; None: it stands in the records."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TimeLog:
    """Records of one time log."""

    time_ms: Floats
    """Local time since 1980-01-01, (n_records,); NaN where there is none."""
    latitude: Floats
    longitude: Floats
    """Degrees, WGS 84; NaN where there is no position."""
    fix: np.ndarray
    """Whether the receiver had a place, (n_records,)."""
    entries: tuple[LoggedValue, ...]
    logged: Floats
    """(n_records, n_entries), NaN where a record says nothing of an entry."""
    damage: Damage | None
    lost_bytes: int
    """Bytes after the damage."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    record: struct.Struct
    fields: tuple[str, ...]
    """Attributes of the position that stand in each record."""
    constants: Mapping[str, float]
    """Those that are filled in the header, as numbers of a record."""
    entries: tuple[LoggedValue, ...]


def log_names(task_data: Mapping[str, bytes], where: str) -> list[str]:
    """Names of the time logs that task data refer to, in order.

    Parameters
    ----------
    task_data : Mapping
        Name in upper case to content of each file.

    Raises
    ------
    InputError
        There is no TASKDATA.XML, or a file is no XML.
    """
    if "TASKDATA.XML" not in task_data:
        raise InputError(what="holds no TASKDATA.XML", where=where, right="a folder or zip of ISO 11783-10 task data")
    parts = [name for name in task_data if name == "TASKDATA.XML" or (name.startswith("TSK") and name.endswith(".XML"))]
    roots = [_xml(task_data[name], f"{where}: {name}") for name in sorted(parts)]
    names = [
        entry.attrib.get("A", "").upper() for root in roots for task in root.iter("TSK") for entry in task.iter("TLG")
    ]
    return [name for name in dict.fromkeys(names) if name]


def read_time_log(header: bytes, records: bytes, where: str) -> TimeLog:
    """Records of a time log up to the first that is damaged.

    Raises
    ------
    InputError
        The header cannot be read.
    """
    shape = _header(header, where)
    rows: list[tuple[float, ...]] = []
    pairs: list[tuple[int, int, int]] = []
    damage, end, last_ms = None, 0, None
    for start, fields, values, stop in _records(records, shape):
        now_ms = fields[1] * _MS_PER_DAY + fields[0]
        known = fields[1] != _NO_DATE and fields[0] != _NO_TIME
        damage = stop
        if damage is None and any(index >= len(shape.entries) for index in values[::2]):
            damage = Damage.INDEX
        if damage is None and known and last_ms is not None and abs(now_ms - last_ms) > _MS_PER_DAY:
            damage = Damage.DATE
        end = start
        if damage is not None:
            break
        last_ms = now_ms if known else last_ms
        pairs += [(len(rows), index, value) for index, value in zip(values[::2], values[1::2], strict=True)]
        rows.append((float(now_ms) if known else np.nan, *fields[2:-1]))
    return _assembled(shape, rows, pairs, damage, len(records) - end if damage is not None else 0)


def _records(blob: bytes, shape: _Header) -> Iterator[tuple[int, tuple[int, ...], tuple[int, ...], Damage | None]]:
    """Start, fixed fields, and index and value in turn, of each record; the last one may be cut off."""
    at = 0
    while at < len(blob):
        if at + shape.record.size > len(blob):
            yield at, (0, 0, 0), (), Damage.CUT
            return
        fields = shape.record.unpack_from(blob, at)
        body = struct.Struct("<" + "Bi" * fields[-1])
        if at + shape.record.size + body.size > len(blob):
            yield at, fields, (), Damage.CUT
            return
        yield at, fields, body.unpack_from(blob, at + shape.record.size), None
        at += shape.record.size + body.size


def _header(blob: bytes, where: str) -> _Header:
    root = _xml(blob, where)
    time = root if root.tag == "TIM" else root.find("TIM")
    if time is None:
        raise InputError(what="is no header of a time log", where=where, right="an element TIM")
    positions = time.findall("PTN")
    given = positions[0].attrib if positions else {}
    fields = tuple(name for name in _POSITION if given.get(name) == "")
    try:
        constants = {name: _constant(name, given[name]) for name in _POSITION if given.get(name)}
        entries = tuple(
            LoggedValue(
                ddi=int(entry.attrib["A"], 16), constant=int(entry.attrib["B"]) if entry.attrib.get("B") else None
            )
            for entry in time.findall("DLV")
        )
    except (KeyError, ValueError) as err:
        raise InputError(what=f"an entry of the header cannot be read: {err}", where=where) from err
    record = struct.Struct("<IH" + "".join(_POSITION[name] for name in fields) + "B")
    return _Header(record=record, fields=fields, constants=constants, entries=entries)


def _constant(name: str, text: str) -> float:
    """A filled attribute as the number that a record would hold."""
    return float(text) / _DEGREE if name in {"A", "B"} else float(text)


def _assembled(
    shape: _Header,
    rows: list[tuple[float, ...]],
    pairs: list[tuple[int, int, int]],
    damage: Damage | None,
    lost_bytes: int,
) -> TimeLog:
    table = np.array(rows, dtype=float).reshape(len(rows), 1 + len(shape.fields))
    place = {name: table[:, 1 + at] for at, name in enumerate(shape.fields)}
    place |= {name: np.full(len(rows), value) for name, value in shape.constants.items()}
    nowhere = np.full(len(rows), np.nan)
    north, east = (place.get(name, nowhere) * _DEGREE for name in ("A", "B"))
    # both zero: the receiver had no position; beyond the globe: not available
    known = (np.abs(north) <= 90) & (np.abs(east) <= 180) & ~((north == 0) & (east == 0))
    status = place.get("D", np.full(len(rows), float(_NOT_STATED)))
    logged = np.full((len(rows), len(shape.entries)), np.nan)
    for at, entry in enumerate(shape.entries):
        if entry.constant is not None:
            logged[:, at] = entry.constant
    if pairs:
        row, index, value = np.array(pairs, dtype=np.int64).T
        logged[row, index] = np.where(np.isin(value, _NO_VALUE), np.nan, value)
    return TimeLog(
        time_ms=table[:, 0],
        latitude=np.where(known, north, np.nan),
        longitude=np.where(known, east, np.nan),
        fix=known & ~np.isin(status, list(_NO_PLACE)),
        entries=shape.entries,
        logged=logged,
        damage=damage,
        lost_bytes=lost_bytes,
    )


def _xml(blob: bytes, where: str) -> Element:
    try:
        root: Element = fromstring(blob, forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError) as err:
        raise InputError(
            what=f"is no XML that can be read: {str(err)[:80]}", where=where, do="export it again"
        ) from err
    return root
