"""A result folder that is whole or not there: written beside its place, renamed into it at the end."""

import os
import re
import shutil
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hardpan.core.errors import HardpanError

MANIFEST = "run.json"
"""The file that marks a folder as a result of this tool."""

_MARK = ".hardpan"
"""The file that marks a folder as being written, with the name of the machine that writes it."""

_LEAST_FREE_BYTES = 1_000_000
"""Below this much free space a failed write is put down to the full disk."""


def check_folder(folder: Path) -> None:
    """Refuse a place where no result can be put, before any work is done.

    Raises
    ------
    HardpanError
        `folder` is a file, a folder with content that is not a result, or lies where nothing can be written.
    """
    folder = folder.resolve()
    if folder.exists() and not folder.is_dir():
        raise HardpanError(what="is a file", where=str(folder), right="a folder", do="give another --out")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / MANIFEST).is_file():
        raise HardpanError(
            what=f"the folder is not empty and holds no {MANIFEST}, so it is not an earlier result",
            where=str(folder),
            do="give another --out",
        )
    existing = next(place for place in (folder.parent, *folder.parent.parents) if place.exists())
    if not existing.is_dir() or not os.access(existing, os.W_OK | os.X_OK):
        raise HardpanError(what="cannot be written to", where=str(existing), do="give another --out")


@contextmanager
def fresh_folder(folder: Path) -> Iterator[Path]:
    """Give an empty folder beside `folder`; rename it into place when the block ends without an error.

    An earlier result stays whole until then, and comes back if the last rename fails. What a killed run left beside
    `folder` is cleared away first.

    Raises
    ------
    HardpanError
        The place cannot be written to, or the disk is full.
    """
    folder = folder.resolve()
    check_folder(folder)
    _clear_leftovers(folder)
    work = folder.parent / f".{folder.name}.{os.getpid()}.part"
    try:
        shutil.rmtree(work, ignore_errors=True)
        work.mkdir(parents=True)
        (work / _MARK).write_text(socket.gethostname(), encoding="utf-8")
        yield work
        (work / _MARK).unlink()
        _put_in_place(work, folder)
    except Exception as err:
        reason = _reason(err, folder.parent)
        if reason:
            raise HardpanError(
                what=f"the result cannot be written: {reason}", where=str(folder), do="free space or give another --out"
            ) from err
        raise
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _clear_leftovers(folder: Path) -> None:
    """Remove what runs killed on this machine left beside `folder`; a result moved aside for good comes back first.

    Only folders named as `fresh_folder` and `_put_in_place` name them, that bear the mark or are a result, of processes
    that are gone. Elsewhere than on POSIX systems a process cannot be asked for without harm, and nothing is removed.
    """
    name = re.compile(rf"\.{re.escape(folder.name)}\.(?P<process>[1-9]\d*)\.(?P<kind>part|old)")
    for place in sorted(folder.parent.glob(".*")) if os.name == "posix" else ():
        named = name.fullmatch(place.name)
        if not named or not _is_ours(place) or _is_another_at_work(int(named["process"])):
            continue
        if named["kind"] == "old" and not folder.exists():
            place.rename(folder)
        else:
            shutil.rmtree(place, ignore_errors=True)


def _is_ours(place: Path) -> bool:
    mark = place / _MARK
    try:
        if place.is_symlink() or not place.is_dir():
            return False
        if mark.is_file():
            return mark.read_text(encoding="utf-8", errors="replace") == socket.gethostname()
        return (place / MANIFEST).is_file()
    except OSError:
        return False


def _is_another_at_work(process: int) -> bool:
    # In a container a new run may have the number of the one that was killed.
    if process == os.getpid():
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True


def _reason(err: Exception, place: Path) -> str:
    """Give why the disk is to blame, "" where it is not: libraries name a full disk in many ways, or not at all."""
    if isinstance(err, OSError) and err.strerror:
        return err.strerror
    return "no space left on the disk" if place.exists() and shutil.disk_usage(place).free < _LEAST_FREE_BYTES else ""


def _put_in_place(work: Path, folder: Path) -> None:
    if not folder.exists():
        work.rename(folder)
        return
    old = work.with_suffix(".old")
    folder.rename(old)
    try:
        work.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)
