"""The loops of the search, compiled; imported only where numba is installed and there is enough work to pay for it."""

from collections.abc import Callable
from typing import Any, get_args, get_type_hints

import numba
import numpy as np
from numba.extending import register_jitable

from hardpan.season import changes, loops, routes
from hardpan.season.changes import Search
from hardpan.season.loops import Season

_DTYPES = {float: np.float64, int: np.int64, bool: np.bool_}


_PARTS = (
    changes.change, changes.copy, changes.cross, changes.keep, changes.move, changes.place_of, changes.put,
    changes.swap, changes.take, changes.target, changes.total, changes.turn, loops.finish, loops.first_open, loops.walk,
    routes.after, routes.better, routes.fill, routes.follow, routes.last_step, routes.next_day, routes.rank,
    routes.ripped_whole, routes.same_day, routes.some_morning,
)  # fmt: skip
"""What the compiled loops call."""


def _compile(loop: Callable[..., Any]) -> Any:  # noqa: ANN401
    """A loop compiled, kept on disk where there is room for it."""
    try:
        return numba.njit(cache=True, nogil=True)(loop)
    except RuntimeError:  # neither the package's nor the user's folder can be written
        return numba.njit(nogil=True)(loop)


for _part in _PARTS:
    register_jitable(_part)
anneal: Any = _compile(changes.anneal)
price: Any = _compile(routes.price)


def arrays_of(season: Season, search: Search) -> tuple[Season, Search]:
    """The same as arrays; the lists before and after a change have one patience."""
    now, tried, best, notes = search
    now = _arrays(now)
    return _arrays(season), Search(
        now=now, tried=_arrays(tried)._replace(patient=now.patient), best=_arrays(best), notes=_arrays(notes)
    )


def _arrays(record: Any) -> Any:  # noqa: ANN401
    """The record with arrays for its lists, of the type that their innermost values are said to have."""
    kinds = get_type_hints(type(record)).values()
    return type(record)(
        *(np.array(values, dtype=_DTYPES[_innermost(kind)]) for values, kind in zip(record, kinds, strict=True))
    )


def _innermost(kind: Any) -> Any:  # noqa: ANN401
    return _innermost(get_args(kind)[0]) if get_args(kind) else kind
