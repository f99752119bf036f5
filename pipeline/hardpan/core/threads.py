"""Threads: numeric libraries kept to one, work cut into parts that any number of them sums alike, and how far it is."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from functools import cache
from typing import TypeAlias

from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

Progress: TypeAlias = Callable[[float], None]
"""Called with the share done, rising from 0 to 1, from the calling thread only."""


@cache
def _libraries() -> ThreadpoolController:
    """Handle on the linear algebra libraries in use; finding them takes longer than a small system."""
    return ThreadpoolController()


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Context, or decorator, in which the linear algebra library keeps to one thread.

    Its threads wait for one another in a loop, which costs hundreds of times the work when other processes want the
    processors; the systems of a paddock are too small to gain from them. Held at the entrances: around a whole run, and
    by the public functions of `hardpan.geostat`.
    """
    with _libraries().limit(limits=1, user_api="blas"):
        yield


def silent(share: float) -> None:
    """Nobody is told."""
    del share


def run_parts(work: Callable[[int], None], count: int, *, threads: int = 1, progress: Progress = silent) -> None:
    """Run `work(0)` ... `work(count - 1)`, each writing its own part of the result.

    The linear algebra library gets one thread inside a part, so that a part's digits do not depend on `threads`.
    """
    with one_blas_thread():
        if threads <= 1 or count <= 1:
            for part in range(count):
                work(part)
                progress((part + 1) / count)
            return
        with ThreadPoolExecutor(max_workers=min(threads, count)) as pool:
            futures = [pool.submit(work, part) for part in range(count)]
            try:
                for done, future in enumerate(as_completed(futures), start=1):
                    future.result()
                    progress(done / count)
            finally:
                for future in futures:
                    future.cancel()


def share_of(progress: Progress, done: int, parts: int) -> Progress:
    """Progress of the next of `parts` equal parts when `done` are done."""
    return lambda share: progress((done + share) / parts)
