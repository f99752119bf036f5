"""A result folder that is whole or not there: written beside its place, renamed into it at the end."""

import itertools
import json
import os
import shutil
import socket
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from hardpan.core.errors import HardpanError, ReadBackError
from hardpan.outputs.ownership import not_ours
from hardpan.records.trail import MANIFEST

if sys.platform != "win32":
    import fcntl

_MARK, _UNLOCKED, _NEW, _OLD, _DONE = ".hardpan", "mark", "new", "old", "done"
"""In a part: its mark, which names machine and folder and is locked by the run at work; that file before it is locked;
the result being written; the earlier result while the new one takes its place; and once it may be removed."""

_FAULT = "UNCHECKED.txt"
"""In a folder of files that were read back wrong: what was wrong."""

_LONGEST_NAME = 60
"""Bytes of the folder's name repeated in the name of its part, so that the part's name is not too long."""

_LEAST_FREE_BYTES = 1_000_000
"""Below this much free space a failed write is put down to the full disk."""


def check_folder(folder: Path, inputs: Iterable[Path] = ()) -> None:
    """Refuse a place where a result would replace what is not ours or cannot be put, before any work is done.

    Parameters
    ----------
    folder : Path
        Where the result is wanted; a link to a folder stands for that folder.
    inputs : iterable of Path
        Files the run reads; none may lie in `folder`.

    Raises
    ------
    HardpanError
        `folder` is a file; it is the current folder, the home folder, one above these, or a mount point; it holds an
        input or anything but an earlier result nobody changed; or nothing can be written there.
    """
    try:
        folder = folder.resolve()
        reason = _unfit(folder, [path.resolve() for path in inputs])
    except (OSError, RuntimeError) as err:
        reason = f"cannot be used: {getattr(err, 'strerror', None) or err}"
    if reason:
        raise HardpanError(
            what=reason, where=str(folder), right="a new or empty folder, or an earlier result as it was written",
            do="move what is yours or give another --out",
        )  # fmt: skip


def _unfit(folder: Path, inputs: list[Path]) -> str:
    existing = next(place for place in (folder, *folder.parents) if place.exists())
    if not existing.is_dir():
        return "is a file" if existing == folder else f"cannot be written to: {existing} is a file"
    home = os.path.expanduser("~")  # noqa: PTH111 - the other one fails where there is no home
    for place, says in ((Path.cwd(), "the folder this command runs in"), (Path(home), "the home folder")):
        if place.resolve().is_relative_to(folder):
            return f"is {says}, or above it"
    held = next((path for path in inputs if path.is_relative_to(folder)), None)
    if held is not None:
        return f"holds {held.name}, which this run reads"
    for place in {existing, folder.parent if folder.exists() else existing}:
        if not os.access(place, os.R_OK | os.W_OK | os.X_OK):
            return "cannot be written to" if place == folder else f"{place} cannot be written to"
    if not folder.exists():
        return ""
    return "is a mount point and cannot be replaced" if folder.is_mount() else not_ours(folder)


@contextmanager
def fresh_folder(folder: Path, *, keep: bool = False) -> Iterator[Path]:
    """Empty folder beside `folder`, renamed into its place when the block ends without an error.

    An earlier result stays whole until then, and comes back if the last rename fails; it is checked again as it is
    taken away, so that a file put there meanwhile is not lost. What killed runs left beside `folder` is cleared first.
    With `keep`, files that were read back wrong are left beside `folder` under a name that says so.

    Raises
    ------
    HardpanError
        The place cannot be written to, holds what is not ours, or the disk is full.
    """
    check_folder(folder)
    folder = folder.resolve()
    clear_leftovers(folder.parent)
    made = [place for place in folder.parents if not place.exists()]
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _part(folder) as part:
            (part / _NEW).mkdir()
            try:
                yield part / _NEW
            except ReadBackError as err:
                if keep:
                    raise err.kept_in(str(_set_aside(part / _NEW, folder, str(err)))) from err
                raise
            _put_in_place(part, folder)
    except BaseException as err:
        _unmake(made)
        reason = _reason(err, folder.parent)
        if reason:
            raise HardpanError(
                what=f"the result cannot be written: {reason}", where=str(folder), do="free space or give another --out"
            ) from err
        raise


@contextmanager
def fresh_files(folder: Path) -> Iterator[Path]:
    """Empty folder in `folder`, whose files are renamed into it when the block ends without an error.

    The manifest comes first: it lists what the others are to be, and what they replace, so that whoever finds files of
    both kinds after a killed run knows all of them as ours.

    Raises
    ------
    HardpanError
        The disk is full or cannot be written to.
    """
    try:
        with _part(folder.resolve() / "files") as part:
            (part / _NEW).mkdir()
            yield part / _NEW
            for new in sorted((part / _NEW).iterdir(), key=lambda path: path.name != MANIFEST):
                new.replace(folder / new.name)
    except BaseException as err:
        reason = _reason(err, folder)
        if reason:
            raise HardpanError(
                what=f"what is told of all paddocks cannot be written: {reason}", where=str(folder), do="free space"
            ) from err
        raise


def clear_leftovers(*folders: Path) -> None:
    """Remove what runs killed on this machine left in `folders`; a result moved aside for good comes back first.

    Only parts that bear the mark, and whose process is gone: its lock on the mark ends with it, while the number of a
    process may be given again. Elsewhere than on POSIX systems there is no such lock, and nothing is removed.
    """
    parts = {part.resolve() for folder in folders for part in folder.glob(".*.part") if not part.is_symlink()}
    for part in sorted(parts):
        with suppress(OSError, ValueError, KeyError, TypeError):
            if _is_stillborn(part):
                shutil.rmtree(part, ignore_errors=True)
                continue
            with (part / _MARK).open(encoding="utf-8") as mark:
                told = json.load(mark)
                if told["host"] == socket.gethostname() and _locked(mark):
                    _settle(part, part.parent / Path(told["folder"]).name)


def _is_stillborn(part: Path) -> bool:
    """Whether a run was killed before it could mark its part: nothing is in it, and no process has its number."""
    if sys.platform == "win32" or any(path.name != _UNLOCKED for path in part.iterdir()):
        return False
    try:
        os.kill(int(part.name.split(".")[-3]), 0)
    except ProcessLookupError:
        return True
    return False


@contextmanager
def _part(folder: Path) -> Iterator[Path]:
    """Folder beside `folder` to work in, marked and locked while the block runs, gone after it."""
    name = os.fsencode(folder.name)[:_LONGEST_NAME].decode("utf-8", "ignore")
    part = Path(tempfile.mkdtemp(prefix=f".{name}.{os.getpid()}.", suffix=".part", dir=folder.parent))
    try:
        with (part / _UNLOCKED).open("w", encoding="utf-8") as mark:
            json.dump({"host": socket.gethostname(), "folder": folder.name}, mark)
            mark.flush()
            if _locked(mark):
                (part / _UNLOCKED).rename(part / _MARK)  # locked before it is a mark: nobody may take it for a leftover
            try:
                yield part
            finally:
                _settle(part, folder)
    finally:
        _settle(part, folder)  # where the system removes no open file, and where no mark could be written


def _locked(mark: IO[str]) -> bool:
    """Lock a mark; false where another holds it or there are no locks."""
    if sys.platform == "win32":
        return False
    try:
        fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _put_in_place(part: Path, folder: Path) -> None:
    """Rename the new result into the place of the earlier one, which must be ours still when it is out of reach."""
    new, old = part / _NEW, part / _OLD
    if not folder.exists():
        new.rename(folder)
        return
    reason = not_ours(folder)
    if not reason:
        folder.rename(old)
        new.rename(folder)
        reason = not_ours(old)
        if reason:
            folder.rename(new)
            old.rename(folder)
    if reason:
        raise HardpanError(what=f"{reason}, while this run was at work", where=str(folder), do="give another --out")


def _set_aside(new: Path, folder: Path, fault: str) -> Path:
    """Folder beside `folder`, never one that was there, with the files that were read back wrong and why."""
    names = (f"{folder.name}.unchecked{f'-{k}' if k > 1 else ''}" for k in itertools.count(1))
    aside = next(place for place in map(folder.with_name, names) if not place.exists())
    (new / _FAULT).write_text(
        f"{fault}\n\nFor the report of this fault only: no machine may have these files.\n", "utf-8"
    )
    return new.rename(aside)


def _settle(part: Path, folder: Path) -> None:
    """Remove a part; an earlier result in it comes back if its place is free, and is kept if it was changed."""
    old, done = part / _OLD, part / _DONE
    if old.exists():
        if not folder.exists():
            old.rename(folder)
        elif not_ours(old):
            return
        else:
            old.rename(done)  # half removed it would not be known as ours
    for inner in (done, part / _NEW, part):  # the mark goes last: a run killed here leaves a part that is still known
        shutil.rmtree(inner, ignore_errors=True)


def _unmake(made: list[Path]) -> None:
    """Remove the empty folders made on the way to a result that did not come."""
    with suppress(OSError):
        for place in made:
            place.rmdir()


def _reason(err: BaseException, place: Path) -> str:
    """Why the disk is to blame, "" where it is not: libraries name a full disk in many ways, or not at all."""
    if not isinstance(err, Exception):
        return ""
    if isinstance(err, OSError) and err.strerror:
        return err.strerror
    return "no space left on the disk" if place.exists() and shutil.disk_usage(place).free < _LEAST_FREE_BYTES else ""
