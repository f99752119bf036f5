"""Further sites one by one, each where its answer brings most beyond its cost, given those before it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.surfaces import ErrorCovariance, MapErrors
from hardpan.sites.effort import METRES_PER_KM
from hardpan.sites.information import Values

_SIGN_NOISE = np.pi / 2.0
"""Variance of what one insertion says of a pan's presence, in those of the latent field's own scatter: it tells a sign
only, which of a value in the middle holds 2 / pi of the information."""

_NO_VARIANCE = 1e-12
"""Where there is no doubt, none of it can go."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Question:
    """What is not known of one variable, at m places and of the mean over each unit of ground."""

    error: ErrorCovariance
    onto: Floats
    """(n_units, m): share of each place in the mean over each unit."""
    total: Floats
    """(n_units,) variance that a fall of that of the mean is told as a share of."""
    answer: float
    """Variance that the answer of one site is off by."""
    told: Floats
    """(m,) chance that a site at each place gives an answer."""

    def falls(self, covariance: Floats) -> Floats:
        """Share of the variance (n_units, m) that goes of each unit with an answer at each place."""
        off = np.diag(covariance) + self.answer
        return np.asarray(self.told * (self.onto @ covariance) ** 2 / off / self.total[:, None])

    def known(self, covariance: Floats) -> Floats:
        """Share of the variance (n_units,) that has gone of each unit."""
        return np.asarray(variance_of(self.error.covariance - covariance, self.onto) / self.total)

    def asked(self, covariance: Floats, at: int) -> Floats:
        """Covariance expected after a site at place `at`: a rank-one update, as often as there is an answer."""
        column = covariance[:, at]
        return np.asarray(covariance - self.told[at] * np.outer(column, column) / (column[at] + self.answer))


def variance_of(covariance: Floats, onto: Floats) -> Floats:
    """Variance (n_units,) of means over units: diagonal of W C W', W the shares `onto` (n_units, m)."""
    return np.asarray(((onto @ covariance) * onto).sum(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """Places of further sites in the order they were chosen; arrays of equal length."""

    place: Ints
    worth: Floats
    """Expected money of the answer, given those before it."""
    cost: Floats
    """Money for the time it takes."""
    perfect: float
    """Expected money of knowing the pan everywhere."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cost:
    """What a further site costs."""

    xy_m: Floats
    """(m, 2) places."""
    gate_xy: Floats | None
    probing_h: float
    """Time at a site."""
    km_h: float
    """Walking speed."""
    per_hour: float
    """Money for an hour."""

    def hours(self, taken: Sequence[int]) -> Floats:
        """Time that a site at each place takes, (m,): at it, and to it and back from the nearest stop there is."""
        stops = self.xy_m[list(taken)]
        if self.gate_xy is not None:
            stops = np.vstack([stops, self.gate_xy])
        if not len(stops):
            return np.full(len(self.xy_m), self.probing_h)
        detour_km = 2.0 * KDTree(stops).query(self.xy_m)[0] / METRES_PER_KM
        return np.asarray(self.probing_h + detour_km / self.km_h)


def questions_of(
    errors: MapErrors, onto: tuple[Floats, Floats], *, insertions: int, seen: Floats
) -> tuple[Question, Question]:
    """Questions on the bottom and on the presence of the pan.

    Parameters
    ----------
    onto : (n_units, m), (n_units, m)
        Share of each place in the mean of the bottom, and of the presence, over each unit.
    insertions : int
        Of each further site.
    seen : (m,)
        Chance that a site at each place meets a bottom that its rod reaches.
    """
    bottom, pan = errors.covariances["bottom"], errors.covariances["pan"]
    alone = np.diag(pan.covariance) + pan.site  # of the latent field at a point: what its chance rests on
    return (
        Question(
            error=bottom,
            onto=onto[0],
            total=np.maximum(variance_of(bottom.covariance, onto[0]), _NO_VARIANCE),
            answer=bottom.site + bottom.insertion / insertions,
            told=seen,
        ),
        Question(
            error=pan,
            onto=onto[1],
            total=np.maximum(onto[1] @ alone, _NO_VARIANCE),
            answer=pan.site + _SIGN_NOISE * pan.insertion / insertions,
            told=np.ones_like(seen),
        ),
    )


def choose_sites(
    values: Values,
    questions: tuple[Question, Question],
    cost: Cost,
    *,
    may: Bools,
    most: int,
    hours: float | None,
    paying: bool,
) -> Batch:
    """Places of further sites: always the one whose answer brings most beyond its cost.

    Parameters
    ----------
    may : (m,)
        Places that may be probed.
    most : int
        No more sites than these; one is chosen in any case.
    hours : float or None
        Time there is for all of them.
    paying : bool
        The search ends where a site costs more than it brings.
    """
    bottom, pan = questions
    now_bottom, now_pan = bottom.error.covariance, pan.error.covariance
    place: list[int] = []
    worth: list[float] = []
    spent_h: list[float] = []
    may, nothing = may.copy(), np.zeros_like(now_bottom)
    while may.any() and len(place) < most:
        before = values.at(bottom.known(now_bottom), pan.known(now_pan)).sum()
        after = values.at(
            bottom.known(now_bottom)[:, None] + bottom.falls(now_bottom),
            pan.known(now_pan)[:, None] + pan.falls(now_pan),
        ).sum(axis=0)
        brings, takes_h = np.maximum(after - before, 0.0), cost.hours(place)
        takes = takes_h * cost.per_hour
        at = int(np.where(may, brings - takes, -np.inf).argmax())
        too_long = hours is not None and sum(spent_h) + takes_h[at] > hours
        if place and (too_long or (paying and brings[at] < takes[at])):
            break
        for kept, one in ((place, at), (worth, brings[at]), (spent_h, takes_h[at])):
            kept.append(one)
        may[at] = False
        now_bottom, now_pan = bottom.asked(now_bottom, at), pan.asked(now_pan, at)
    return Batch(
        place=np.array(place, dtype=np.int64),
        worth=np.array(worth),
        cost=cost.per_hour * np.array(spent_h),
        perfect=float(values.at(bottom.known(nothing), pan.known(nothing)).sum()),
    )
