"""How long work tells how far it is."""

from collections.abc import Callable
from typing import TypeAlias

Progress: TypeAlias = Callable[[float], None]
"""Called with the share done, rising from 0 to 1, from the calling thread only."""


def silent(share: float) -> None:
    """Nobody is told."""
    del share


def share_of(progress: Progress, done: int, parts: int) -> Progress:
    """Progress of the next of `parts` equal parts when `done` are done."""
    return lambda share: progress((done + share) / parts)
