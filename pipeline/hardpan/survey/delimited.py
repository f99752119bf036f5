"""Delimited text to rows of cells: encoding, separator, line numbers."""

import codecs
import csv
import re
from collections.abc import Callable, Iterator

from hardpan.core.errors import InputError
from hardpan.records.issues import Issue
from hardpan.survey.words import Grid, warned

SEPARATORS = (";", "\t", "|", ",", " ")
SAMPLE_ROWS = 80
"""Rows in which a header is looked for."""
_MAGIC = {
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
    """Give the text of a file and what had to be said about its encoding.

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
        encoding = {(0, 1): "utf-16-be", (1, 0): "utf-16-le"}.get((int(blob[0] == 0), int(blob[1:2] == b"\x00")), "")
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


def split(text: str, file: str, score: Callable[[Grid], int]) -> Grid:
    """Give the rows of delimited text, with the separator that `score` likes best.

    Parameters
    ----------
    text : str
        The decoded text.
    file : str
        Name for messages.
    score : callable
        Gives how much sense the first rows make, 0 for none; the first separator with the highest score wins.

    Raises
    ------
    InputError
        No rows, or a cell is too long.
    """
    if not text.strip():
        raise InputError(what="file is empty", where=file, do="give a table with a header and rows")
    head = _head(text)
    samples = {sep: _grid(_rows(head, sep, file), file) for sep in SEPARATORS}
    scores = {sep: score(sample) for sep, sample in samples.items()}
    best = max(SEPARATORS, key=lambda sep: (scores[sep], _breadth(samples[sep])))
    return _grid(_rows(text, best, file), file)


def _head(text: str) -> str:
    end = 0
    for _ in range(SAMPLE_ROWS):
        found = text.find("\n", end)
        if found < 0:
            return text
        end = found + 1
    return text[:end]


def _breadth(grid: Grid) -> int:
    widths = sorted(len(row) for row in grid.rows)
    return min(widths[len(widths) // 2], 1000) if widths else 0


def _grid(rows: Iterator[tuple[list[str], int]], file: str) -> Grid:
    cells, lines = [], []
    for row, line in rows:
        cells.append(row)
        lines.append(line)
    return Grid(file=file, rows=cells, lines=lines)


def _rows(text: str, separator: str, file: str) -> Iterator[tuple[list[str], int]]:
    """Yield stripped cells and the row's number; equal cells share one string, which keeps a large table small."""
    known: dict[str, str] = {}
    lines = text.splitlines()
    if separator == " ":
        for number, line in enumerate(lines, start=1):
            yield re.split(r"\s+", line.strip()), number
        return
    reader = csv.reader(lines, delimiter=separator)
    start = 1
    try:
        for row in reader:
            yield [known.setdefault(cell, cell.strip()) for cell in row], start
            start = reader.line_num + 1
    except csv.Error as err:
        raise InputError(what=f"cannot be split into cells: {err}", where=f"{file} row {start}") from err
