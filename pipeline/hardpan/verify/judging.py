"""Verdict on a zone from what became of the pan on the line and midway."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.records.after import Change, Judged, Mean, Opened, Position, Remedy, VerdictSettings
from hardpan.records.machines import SetUp

_WIDE = 0.85
"""Share opened above which a position is not called half open."""
_SOME = 0.15
"""Share opened below which it is not."""
_MOST_MORE = 20
"""More insertions than this are not asked for."""

_OPEN, _HALF, _CLOSED = Opened.OPEN, Opened.HALF, Opened.CLOSED
_LOOSE = {_OPEN, _HALF}


def state_of(opened: Mean | None, limits: VerdictSettings) -> Opened:
    """What became of the pan at a position, where its interval leaves no doubt."""
    if opened is None:
        return Opened.MISSING
    if opened.low >= limits.open_share:
        return Opened.OPEN
    if opened.high <= limits.closed_share:
        return Opened.CLOSED
    if opened.low >= _SOME and opened.high <= _WIDE:
        return Opened.HALF
    return Opened.UNKNOWN


def judge(states: Mapping[Position, Opened]) -> tuple[Judged, Change]:
    """Verdict and what follows, from the states on the line and midway.

    Insertions on the line alone never show a broken pan: there even a plain tine leaves loose ground.
    """
    line, midway = (states.get(place, Opened.MISSING) for place in (Position.LINE, Position.MIDWAY))
    if line is _OPEN and midway is _OPEN:
        return Judged.BROKEN, Change.KEEP
    if line is _OPEN and midway in {_HALF, _CLOSED}:
        return Judged.PARTLY, Change.RIDGE
    if line is _HALF:
        return Judged.PARTLY, Change.DEEPER
    if line is _CLOSED and midway not in _LOOSE:
        return Judged.NOT_REACHED, Change.AGAIN
    return Judged.CANNOT_TELL, _missing(line, midway)


def _missing(line: Opened, midway: Opened) -> Change:
    if midway is Opened.MISSING:
        return Change.MIDWAY
    return Change.LINE if line is Opened.MISSING else Change.MORE


def remedies_of(zone: pd.Series, setups: Mapping[str, SetUp]) -> tuple[Remedy, ...]:
    """What opens ridges in a zone and is not fitted there: feet further apart than they are wide can stand closer.

    Parameters
    ----------
    zone : Series
        Row of `Earlier.zones`.
    setups : Mapping[str, SetUp]
        What the ripper can be fitted with.
    """
    own, some = setups.get(str(zone["setup"])), setups.values()
    closer = float(zone["spacing_mm"]) > float(zone["foot_mm"])
    wings = own is not None and own.draft_row != "winged" and any(one.draft_row == "winged" for one in some)
    leading = own is not None and own.leading_depth_share is None and any(one.leading_depth_share for one in some)
    given = {Remedy.CLOSER: closer, Remedy.WINGS: wings, Remedy.LEADING: leading}
    return tuple(remedy for remedy, offered in given.items() if offered)


def more_insertions(opened: Mapping[Position, Mean], limits: VerdictSettings) -> int:
    """Sites to add, by the two-sided interval of a mean, until the position least known is told apart.

    The half width 2 s / sqrt(n) has to fall to the distance from the mean to the nearest limit; 0: none would.
    """
    need = 0
    for place in (Position.LINE, Position.MIDWAY):
        one = opened.get(place)
        if one is None or state_of(one, limits) is not Opened.UNKNOWN:
            continue
        gap = min(abs(one.value - limits.open_share), abs(one.value - limits.closed_share), 0.5)
        sd = one.sd if np.isfinite(one.sd) else 0.25
        wanted = int(np.ceil((2.0 * sd / max(gap, 0.05)) ** 2))
        need = max(need, min(max(wanted - one.sites, 2), _MOST_MORE))
    return need
