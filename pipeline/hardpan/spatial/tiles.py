"""Work cut into tiles: the same tiles and the same sums whatever the number of threads."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, as_completed

from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from hardpan.core.progress import Progress, silent


def run_tiles(work: Callable[[int], None], count: int, *, threads: int = 1, progress: Progress = silent) -> None:
    """Do `work(0)` ... `work(count - 1)`, each writing its own part of the result.

    The linear algebra library gets one thread inside a tile, so that a tile's digits do not depend on `threads`.
    """
    with threadpool_limits(limits=1, user_api="blas"):
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
