"""Work cut into tiles: the same tiles and the same sums whatever the number of threads."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import AbstractContextManager
from functools import cache

from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

from hardpan.core.progress import Progress, silent


@cache
def _libraries() -> ThreadpoolController:
    """Give the handle on the linear algebra libraries in use; finding them takes longer than a small system."""
    return ThreadpoolController()


def one_blas_thread() -> AbstractContextManager[object]:
    """Keep the linear algebra library to one thread.

    Its threads wait for one another in a loop, which costs hundreds of times the work when other processes want the
    processors; the systems of a paddock are too small to gain from them.
    """
    limit: AbstractContextManager[object] = _libraries().limit(limits=1, user_api="blas")
    return limit


def run_tiles(work: Callable[[int], None], count: int, *, threads: int = 1, progress: Progress = silent) -> None:
    """Do `work(0)` ... `work(count - 1)`, each writing its own part of the result.

    The linear algebra library gets one thread inside a tile, so that a tile's digits do not depend on `threads`.
    """
    with one_blas_thread():
        if threads <= 1 or count <= 1:
            for tile in range(count):
                work(tile)
                progress((tile + 1) / count)
            return
        with ThreadPoolExecutor(max_workers=min(threads, count)) as pool:
            futures = [pool.submit(work, tile) for tile in range(count)]
            try:
                for done, future in enumerate(as_completed(futures), start=1):
                    future.result()
                    progress(done / count)
            finally:
                for future in futures:
                    future.cancel()
