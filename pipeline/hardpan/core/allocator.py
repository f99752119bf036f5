"""What this process asks of the allocator and the collector: memory flat over many paddocks, no time lost on it."""

import ctypes
import gc
import sys
from contextlib import suppress
from functools import cache

_OPTIONS = {-8: 1, -3: 4 << 20, -1: 32 << 20}
"""Option of mallopt(3) to its value: one heap for all threads (M_ARENA_MAX), blocks from 4 MiB mapped
(M_MMAP_THRESHOLD), and up to 32 MiB kept free at the heap's end (M_TRIM_THRESHOLD). Once one of them is set, the
library keeps no more than 128 KiB there unless it is told to: arrays of a megabyte or two, freed and made again some
thousand times a paddock, would go back to the system and be asked for anew each time, page by page."""


@cache
def map_large_blocks() -> None:
    """Have arrays of a few megabytes mapped by themselves, so that they go back to the system once they are freed.

    Left alone, the allocator keeps what it freed for the next paddock, in holes that the next arrays do not fit.
    Smaller ones are made where the last lay. Asked once in a process; nothing happens where the C library is another
    than GNU's.
    """
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            library = ctypes.CDLL(None)
            for option, value in _OPTIONS.items():
                library.mallopt(option, value)


def collect_rarely() -> None:
    """Have objects looked through for cycles once a million new ones: a run makes fewer, and nearly all of them stay.

    Libraries make most of them. To look through them again and again took a twelfth of a run, and even once each three
    tenths of a second; what waits for it are the charts, small beside the arrays.
    """
    gc.set_threshold(1_000_000)


def give_back() -> None:
    """Return what was freed to the system, where that can be asked: else the peak of the next paddock stands on it."""
    gc.collect()
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
