"""A tiled, deflated float32 GeoTIFF read without GDAL, to check what GDAL wrote."""

import struct
import zlib
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 12: 8}
_CODES = {1: "B", 2: "s", 3: "H", 4: "I", 12: "d"}
"""TIFF 6.0 field types met here: byte, ascii, short, long, double."""


def read_tiff(path: Path) -> tuple[Floats, tuple[float, float, float]]:
    """Full-resolution bands, (n_bands, n_rows, n_cols), and west edge, north edge and cell size.

    Raises
    ------
    InputError
        The file is not the little-endian, pixel-interleaved, deflated float32 TIFF that the outputs write.
    """
    content = path.read_bytes()
    if content[:4] != b"II*\0":
        raise InputError(what="is not a little-endian TIFF", where=path.name)
    try:
        tags = _directory(content)
        bands = _bands(content, tags)
        scale, tie = tags[33550], tags[33922]
    except (KeyError, struct.error, zlib.error, ValueError) as err:
        raise InputError(what=f"the raster is damaged: {err!r}", where=path.name) from err
    return bands, (tie[3], tie[4], scale[0])


def _directory(content: bytes) -> Mapping[int, tuple[float, ...]]:
    """Numeric tags of the first image directory."""
    (start,) = struct.unpack_from("<I", content, 4)
    (count,) = struct.unpack_from("<H", content, start)
    tags: dict[int, tuple[float, ...]] = {}
    for k in range(count):
        place = start + 2 + 12 * k
        tag, kind, length = struct.unpack_from("<HHI", content, place)
        if kind not in _SIZES or kind == 2:
            continue
        size = _SIZES[kind] * length
        offset = place + 8 if size <= 4 else struct.unpack_from("<I", content, place + 8)[0]
        tags[tag] = struct.unpack_from(f"<{length}{_CODES[kind]}", content, offset)
    return tags


def _bands(content: bytes, tags: Mapping[int, tuple[float, ...]]) -> Floats:
    width, height, n_bands = int(tags[256][0]), int(tags[257][0]), int(tags[277][0])
    interleaved, plain = tags[284][0] == 1, tags.get(317, (1,))[0] == 1
    if tags[259][0] != 8 or tags[339][0] != 3 or tags[258][0] != 32 or not interleaved or not plain:
        message = "another compression, sample format, predictor or interleaving than written"
        raise ValueError(message)
    tile_w, tile_h = int(tags[322][0]), int(tags[323][0])
    across, down = -(-width // tile_w), -(-height // tile_h)
    canvas = np.full((down * tile_h, across * tile_w, n_bands), np.nan, dtype="<f4")
    for k, (offset, size) in enumerate(zip(tags[324], tags[325], strict=True)):
        if size:
            row, col = divmod(k, across)
            raw = zlib.decompress(content[int(offset) : int(offset) + int(size)])
            tile = np.frombuffer(raw, dtype="<f4").reshape(tile_h, tile_w, n_bands)
            canvas[row * tile_h : (row + 1) * tile_h, col * tile_w : (col + 1) * tile_w] = tile
    return np.moveaxis(canvas[:height, :width], 2, 0).astype(float)
