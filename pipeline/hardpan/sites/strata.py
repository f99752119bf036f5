"""How many of the sites each soil type gets."""

import numpy as np

from hardpan.core.arrays import Floats, Ints


def share_out(count: int, ha: Floats, *, least: int, least_ha: float, room: Ints, had: Ints | None = None) -> Ints:
    """Sites of each soil type, shape (n_soils,): by area, and `least` in each that is worth one, as far as they go.

    Parameters
    ----------
    count : int
        Sites to share out, no more than there is room for.
    ha : (n_soils,)
        Ground of each.
    least : int
        Sites each soil type has at least; fewer where `count` does not suffice for all.
    least_ha : float
        A soil type of less ground has none kept for it.
    room : (n_soils,)
        Most sites each can take.
    had : (n_soils,), optional
        Sites that are there already, which count.

    Examples
    --------
    >>> share_out(10, np.array([70.0, 25.0, 5.0]), least=2, least_ha=0.5, room=np.array([99, 99, 99]))
    array([6, 2, 2])
    """
    had = np.zeros(len(ha), dtype=np.int64) if had is None else had
    kept = (ha >= min(least_ha, float(ha.max()))) & (room > 0)
    each = min(least, (count + int(had[kept].sum())) // max(int(kept.sum()), 1))
    out = np.where(kept, np.clip(each - had, 0, room), 0)
    while out.sum() > count:  # those that are there already lie unevenly
        out[int(np.where(out > 0, ha / np.maximum(out + had, 1), np.inf).argmin())] -= 1
    for _ in range(count - int(out.sum())):
        # the soil type with most ground for each of its sites, its first to come counted as half a site
        want = np.where(out < room, ha / (out + had + 0.5), -1.0)
        out[int(want.argmax())] += 1
    return np.asarray(out, dtype=np.int64)
