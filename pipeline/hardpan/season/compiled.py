"""The loops of the search, compiled; imported only where numba is installed and there is enough work to pay for it."""

from typing import Any

import numba
import numpy as np
from numba.extending import register_jitable

from hardpan.season import changes, loops
from hardpan.season.changes import Search
from hardpan.season.loops import Notes, Orders, Season


def _compile() -> Any:  # noqa: ANN401
    """`changes.anneal`, kept on disk where there is room for it."""
    for inner in (
        changes.change, changes.copy, changes.cross, changes.keep, changes.move, changes.place_of, changes.put,
        changes.swap, changes.take, changes.target, changes.total, changes.turn, loops.finish, loops.first_open,
        loops.walk,
    ):  # fmt: skip
        register_jitable(inner)
    try:
        return numba.njit(cache=True, nogil=True)(changes.anneal)
    except RuntimeError:  # neither the package's nor the user's folder can be written
        return numba.njit(nogil=True)(changes.anneal)


anneal: Any = _compile()


def arrays_of(season: Season, search: Search) -> tuple[Season, Search]:
    """The same as arrays; the lists before and after a change have one patience."""
    now, tried, best, notes = search
    patient = _flags(now.patient)
    return (
        Season(
            hours=_real(season.hours),
            work_h=_real(season.work_h),
            net=_real(season.net),
            waiting_per_h=_real(season.waiting_per_h),
            is_open=_flags(season.is_open),
            move_h=_real(season.move_h),
            first_move_h=_real(season.first_move_h),
            near=_whole(season.near),
        ),
        Search(
            now=_orders(now)._replace(patient=patient),
            tried=_orders(tried)._replace(patient=patient),
            best=_orders(best),
            notes=Notes(
                rest_h=_real(notes.rest_h),
                day=_whole(notes.day),
                job=_whole(notes.job),
                work_h=_real(notes.work_h),
                move_h=_real(notes.move_h),
                left=_whole(notes.left),
                spare=_whole(notes.spare),
            ),
        ),
    )


def _orders(given: Orders) -> Orders:
    return Orders(
        jobs=_whole(given.jobs), length=_whole(given.length), worth=_real(given.worth), patient=_flags(given.patient)
    )


def _real(values: object) -> Any:  # noqa: ANN401
    return np.array(values, dtype=np.float64)


def _whole(values: object) -> Any:  # noqa: ANN401
    return np.array(values, dtype=np.int64)


def _flags(values: object) -> Any:  # noqa: ANN401
    return np.array(values, dtype=np.bool_)
