"""A file read whole into memory, archives opened without writing, with limits on size, ratio, count and path."""

import hashlib
import io
import stat
import zipfile
import zlib
from pathlib import Path, PurePosixPath

from hardpan.core.errors import InputError, clean
from hardpan.survey.notes import Bundle

MOST_BYTES = 96 * 2**20
"""Largest file or archive read, so that a run stays in the memory of a small machine."""
MOST_VECTOR_BYTES = 32 * 2**20
"""Polygons of a paddock are small, and their readers take many times the size of a file."""
MOST_RATIO = 200
"""Text tables deflate about 3 to 30 fold; a member beyond this is made to fill the memory."""
MOST_MEMBERS = 1000
RATIO_FREE_BYTES = 2**20
"""Members smaller than this are harmless at any ratio."""

SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
_NOISE = ("__MACOSX/", ".DS_Store", "Thumbs.db")


def load(path: Path, *, what: str, most: int = MOST_BYTES) -> Bundle:
    """File `path` in memory, with the side files of a shapefile and the members of an archive.

    Parameters
    ----------
    path : Path
        The file.
    what : str
        What the file is for, such as "the boundary"; used in messages.
    most : int
        Largest size in bytes.

    Raises
    ------
    InputError
        The file is missing, empty, too large, or an unsafe archive.
    """
    if path.is_dir():
        raise InputError(what=f"is a folder, not a file for {what}", where=str(path), do="give the path of the file")
    if not path.is_file():
        raise InputError(what=f"no such file for {what}", where=str(path), do="give the path of an existing file")
    blob = _read(path, most)
    digest = hashlib.sha256(blob)
    if not blob:
        raise InputError(what="file is empty", where=path.name, do=f"give a file with {what}")
    members = {path.name: blob}
    if path.suffix.lower() == ".shp":
        members = {path.name: blob, **_side_files(path, most)}
        for name in sorted(members):
            digest.update(members[name] if name != path.name else b"")
    elif blob[:2] == b"\x1f\x8b":
        members = {path.name.removesuffix(".gz"): _gunzip(blob, path.name)}
    elif zipfile.is_zipfile(io.BytesIO(blob)):
        members = unzip(blob, path.name)
    return Bundle(name=clean(path.name), members=members, digest=digest.hexdigest())


def _read(path: Path, most: int) -> bytes:
    try:
        if path.stat().st_size > most:
            raise InputError(what=f"file is larger than {most >> 20} MB", where=path.name, do="cut it to the paddock")
        return path.read_bytes()
    except OSError as err:
        raise InputError(what=f"cannot be read: {err.strerror}", where=path.name) from err


def _side_files(path: Path, most: int) -> dict[str, bytes]:
    beside = {
        part.suffix.lower(): part
        for part in sorted(path.parent.iterdir())
        if part.stem == path.stem and part.suffix.lower() in SHAPEFILE_PARTS[1:] and part.is_file()
    }
    return {path.stem + suffix: _read(part, most) for suffix, part in beside.items()}


def _gunzip(blob: bytes, name: str) -> bytes:
    plain = zlib.decompressobj(wbits=31)
    most = min(MOST_BYTES, max(RATIO_FREE_BYTES, MOST_RATIO * len(blob)))
    try:
        out = plain.decompress(blob, most)
    except zlib.error as err:
        raise InputError(what=f"damaged compressed file: {err}", where=name) from err
    if plain.unconsumed_tail:
        raise InputError(what="inflates beyond the limit of size or ratio", where=name, do="give the plain file")
    if not plain.eof:
        raise InputError(what="compressed file is cut off", where=name, do="export it again")
    return out


def unzip(blob: bytes, name: str) -> dict[str, bytes]:
    """Members of a zip archive, in memory; those of a workbook stay one member.

    Raises
    ------
    InputError
        A member has an unsafe path, is a link, is encrypted, or inflates beyond the limits.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(blob)) as archive:
            infos = _wanted(archive.infolist(), name)
            if any(info.filename == "xl/workbook.xml" for info in infos):
                return {name: blob}
            return {info.filename: archive.read(info) for info in infos}
    except InputError:
        raise
    except Exception as err:  # whatever a damaged archive makes the library say
        raise InputError(what=f"damaged archive: {str(err)[:80]}", where=name, do="pack it again") from err


def _wanted(infos: list[zipfile.ZipInfo], name: str) -> list[zipfile.ZipInfo]:
    infos = [info for info in infos if not info.is_dir()]
    _check_members(infos, name)
    names = [(info, PurePosixPath(info.filename).name) for info in infos if not info.filename.startswith(_NOISE)]
    wanted = [info for info, name in names if not name.startswith((".", "Thumbs.db"))]
    if not wanted:
        raise InputError(what="archive holds no files", where=name)
    if any(info.filename == "mimetype" for info in wanted):
        raise InputError(what="holds an office document", where=name, right="text or an xlsx workbook")
    return sorted(wanted, key=lambda info: info.filename)


def _check_members(infos: list[zipfile.ZipInfo], name: str) -> None:
    if len(infos) > MOST_MEMBERS:
        raise InputError(what=f"archive has more than {MOST_MEMBERS} members", where=name)
    for info in infos:
        member = info.filename
        if member.startswith("/") or "\\" in member or ":" in member or ".." in PurePosixPath(member).parts:
            raise InputError(
                what=f"unsafe member path {member[:60]!r}", where=name, do="pack the plain files without paths"
            )
        if stat.S_ISLNK(info.external_attr >> 16):
            raise InputError(what=f"member {member[:60]!r} is a link", where=name, do="pack the plain files")
        if info.flag_bits & 1:
            raise InputError(what=f"member {member[:60]!r} is encrypted", where=name, do="pack it without password")
        if info.file_size > max(RATIO_FREE_BYTES, MOST_RATIO * max(info.compress_size, 1)):
            raise InputError(what=f"member {member[:60]!r} inflates more than {MOST_RATIO} fold", where=name)
    if sum(info.file_size for info in infos) > MOST_BYTES:
        raise InputError(what=f"archive inflates beyond {MOST_BYTES >> 20} MB", where=name)
