"""Delimited text to rows of cells: encoding, separator, line numbers."""

import codecs
import csv
import io
from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd

from hardpan.core.arrays import Ints
from hardpan.core.errors import InputError
from hardpan.records.issues import Issue
from hardpan.survey.columns import MOST_COLUMNS, Text, TextTable
from hardpan.survey.notes import warned

SEPARATORS = (";", "\t", "|", ",", " ")
"""Blanks, which also stand within names and units, are tried last and only where nothing else makes sense."""
MOST_CELLS = 12_000_000
"""More would not fit half a gigabyte."""
BLOCK = 4 * 2**20
"""Characters looked at together."""
SAMPLE_ROWS = 400
"""Rows in which sense is looked for: two blocks of a reading each 5 mm to a metre."""
LONGEST_HEAD = 4 * 2**20
BLANKS = " \u00a0\ufeff"
"""Blanks around a cell; a tab in a quoted name is part of the name."""
_ORDER = {(True, False): "utf-16-be", (False, True): "utf-16-le"}
"""Encoding by which byte of the first letter is zero."""
_MAGIC = {
    b"PK\x03\x04": "a damaged archive, or one within another",
    b"%PDF": "a PDF document",
    b"MZ": "a program",
    b"\x7fELF": "a program",
    b"\xd0\xcf\x11\xe0": "a workbook of the old binary format",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"SQLite format 3": "a database",
    b"II*\x00": "a raster",
    b"MM\x00*": "a raster",
    b"7z\xbc\xaf": "an archive",
    b"Rar!": "an archive",
    b"BZh": "an archive",
    b"\xfd7zXZ": "an archive",
}


def decode(blob: bytes, file: str) -> tuple[str, tuple[Issue, ...]]:
    """Text of a file and what had to be said about its encoding.

    Raises
    ------
    InputError
        The file is no text.
    """
    for magic, kind in _MAGIC.items():
        if blob.startswith(magic):
            raise InputError(what=f"holds {kind}, not a table", where=file, right="delimited text or an xlsx workbook")
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if blob.startswith(mark):
            return _strict(blob, encoding, file), ()
    if b"\x00" in blob[:4096]:
        encoding = _ORDER.get((blob[0] == 0, blob[1:2] == b"\x00"), "")
        if not encoding:
            raise InputError(what="holds NUL bytes, so it is no text", where=file, right="delimited text")
        return _strict(blob, encoding, file), (_assumed(encoding, file),)
    try:
        return _clean(blob.decode("utf-8"), file), ()
    except UnicodeDecodeError:
        return _clean(blob.decode("cp1252", errors="replace"), file), (_assumed("Windows-1252", file),)


def _strict(blob: bytes, encoding: str, file: str) -> str:
    try:
        return _clean(blob.decode(encoding), file)
    except UnicodeDecodeError as err:
        raise InputError(what=f"damaged {encoding} text: {err.reason}", where=file, do="export it again") from err


def _clean(text: str, file: str) -> str:
    at = text.find("\x00")
    if at >= 0:
        line = text.count("\n", 0, at) + 1
        raise InputError(what="holds a NUL character", where=f"{file} row {line}", do="export it again")
    return text


def _assumed(encoding: str, file: str) -> Issue:
    return warned("encoding", "text is not UTF-8 and states no encoding", f"read as {encoding}", file=file)


def split(text: str, file: str, score: Callable[[TextTable], int]) -> TextTable:
    """Columns of delimited text, with the separator that `score` likes best.

    Parameters
    ----------
    text : str
        The decoded text.
    file : str
        Name for messages.
    score : callable
        Gives how much sense the first rows make, 0 for none; the first separator with the highest score wins, and
        where none makes sense only the first rows are given back.

    Raises
    ------
    InputError
        No rows, a quote that is never closed, or more cells than a table of readings has.
    """
    if not text.strip():
        raise InputError(what="file is empty", where=file, do="give a table with a header and rows")
    text = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n")
    head = _head(text)
    if len(head) > LONGEST_HEAD:
        raise InputError(what="has rows far longer than a table of readings", where=file, do="export it again")
    best, most = SEPARATORS[0], (-1, -1)
    failed: InputError | None = None
    for separator in SEPARATORS:
        if separator == " " and most[0] > 0:
            continue
        try:
            sample = _grid(head, separator, file)
        except InputError as err:
            failed = failed or err
            continue
        rank = (score(sample), int(np.median(sample.widths)))
        if rank > most:
            best, most = separator, rank
    if most[0] <= 0:
        if failed is not None:
            raise failed
        return _grid(head, best, file)
    return _grid(text, best, file)


def _head(text: str) -> str:
    end = 0
    for _ in range(SAMPLE_ROWS):
        found = text.find("\n", end)
        if found < 0:
            return text
        end = found + 1
    return text[:end]


def _grid(text: str, separator: str, file: str) -> TextTable:
    counts = _cells_a_record(text, separator, file) if '"' in text else _cells_a_line(text, separator)
    width = int(counts.max())
    if width > MOST_COLUMNS or width * len(counts) > MOST_CELLS:
        raise InputError(
            what=f"has {width} cells in one row", where=f"{file} row {int(counts.argmax()) + 1}", do="export it again"
        )
    try:
        table = pd.read_csv(
            io.BytesIO(text.encode("utf-8")),
            encoding="utf-8",
            sep=r"\s+" if separator == " " else separator,
            header=None,
            names=range(width),
            dtype="category",
            keep_default_na=False,
            skip_blank_lines=False,
            index_col=False,
            low_memory=False,
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError, OverflowError) as err:
        what = str(err).removeprefix("Error tokenizing data. C error: ")[:120]
        raise InputError(what=f"cannot be split into cells: {what}", where=file, do="export it again") from err
    columns = [_text(table[at]) for at in range(width)]
    widths = counts if len(counts) == len(table) else _filled(columns)
    return TextTable(file=file, columns=columns, widths=widths, lines=_lines(columns, len(table)))


def _filled(columns: list[Text]) -> Ints:
    """Number of cells up to the last that is not blank, where rows and lines do not go together."""
    filled = np.column_stack([~column.equals("") for column in columns])
    return np.where(filled.any(axis=1), len(columns) - np.argmax(filled[:, ::-1], axis=1), 0)


def _cells_a_line(text: str, separator: str) -> Ints:
    """Number of cells of each line."""
    if separator == " ":
        return np.asarray([len(line.split()) or 1 for line in text.split("\n")])
    found, open_ = [], 0
    for start in range(0, len(text), BLOCK):
        raw = np.frombuffer(text[start : start + BLOCK].encode("utf-8"), dtype=np.uint8)
        ends, marks = np.flatnonzero(raw == ord("\n")), np.flatnonzero(raw == ord(separator))
        seen = np.searchsorted(marks, ends)
        block = np.diff(seen, prepend=0)
        block[:1] += open_
        open_ = len(marks) - seen[-1] if len(ends) else open_ + len(marks)
        found.append(block)
    return np.concatenate([*found, [open_]]) + 1


def _cells_a_record(text: str, separator: str, file: str) -> Ints:
    """Number of cells of each record, where quotes may hold separators and line ends."""
    reader = csv.reader(_lines_of(text), delimiter=separator)
    try:
        return np.asarray([len(row) or 1 for row in reader])
    except csv.Error as err:
        where = f"{file} row {reader.line_num}"
        raise InputError(what=f"cannot be split into cells: {err}", where=where, do="export it again") from err


def _lines_of(text: str) -> Iterator[str]:
    start = 0
    while start < len(text):
        end = text.find("\n", start) + 1 or len(text)
        yield text[start:end]
        start = end


def _text(column: pd.Series) -> Text:
    unique = [str(cell).strip(BLANKS) for cell in column.cat.categories]
    codes = column.cat.codes.to_numpy().astype(np.int64)
    codes[codes < 0] = len(unique)
    return Text(codes, np.asarray([*unique, ""], dtype=object))


def _lines(columns: list[Text], count: int) -> Ints:
    """Line each row starts on: rows with line ends within quotes take several."""
    taken = np.ones(count, dtype=np.int64)
    for column in columns:
        ends = np.asarray([cell.count("\n") for cell in column.unique])
        if ends.any():
            taken += ends[column.codes]
    return np.cumsum(taken) - taken + 1
