"""The value of information: what knowing the pan better is expected to bring to the choice of depth and set-up.

At each place the option is chosen that returns most in expectation. The answer of a probe moves that expectation, and
is worth the mean of the best it then leads to, less the best there is without it (preposterior analysis). How far it
moves depends on the answer's share of what is unknown there: the share by which kriging says that the variance of the
map's error will fall. Several answers are worth what their joint fall is; none is worth less than nothing.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from hardpan.core.arrays import Floats, Ints
from hardpan.options import Stakes

FALLS = np.array([0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99])
"""Shares of the variance at which values are worked out; between them they are straight."""


def _normal(count: int) -> tuple[Floats, Floats]:
    """Values of a standard normal and their probabilities, evenly spaced: Gauss's few would miss a choice's kinks."""
    values = np.linspace(-4.0, 4.0, count)
    weights = np.exp(-0.5 * values**2)
    return values, weights / weights.sum()


_ANSWERS, _WEIGHTS = _normal(31)
"""Answers on the depth of the bottom, in standard deviations, and their probabilities."""

_FINE, _FINE_WEIGHTS = _normal(801)
_SIGNS = 5
"""Answers on whether there is a pan at all: so many that speak against one, and as many for one."""

_SURE = 1e-3
"""A pan that is there, or is not, but for this chance holds no question."""

_NEGLIGIBLE = 1e-9
"""Of the returns: rounding of their sums."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Values:
    """Value of information at m places, by the fall of the variance of bottom and of presence."""

    table: Floats
    """(m, r, r): money, r the number of `FALLS`."""

    def at(self, bottom: Floats, pan: Floats) -> Floats:
        """Values at falls (m, ...) of the variance of bottom and presence, of the same shape."""
        row, row_share = _between(bottom)
        col, col_share = _between(pan)
        place = np.arange(len(self.table)).reshape(-1, *(1,) * (bottom.ndim - 1))
        low = self.table[place, row, col] * (1 - col_share) + self.table[place, row, col + 1] * col_share
        high = self.table[place, row + 1, col] * (1 - col_share) + self.table[place, row + 1, col + 1] * col_share
        return np.asarray(low * (1 - row_share) + high * row_share)

    @property
    def perfect(self) -> float:
        """Value of knowing the pan everywhere (nearly EVPI)."""
        return float(self.table[:, -1, -1].sum())


def _between(fall: Floats) -> tuple[Ints, Floats]:
    """Place of each fall in `FALLS`, and its share of the way to the next."""
    fall = np.asarray(np.clip(fall, 0.0, FALLS[-1]))
    at: Ints = np.clip(np.searchsorted(FALLS, fall, side="right") - 1, 0, FALLS.size - 2)
    return at, np.asarray((fall - FALLS[at]) / (FALLS[at + 1] - FALLS[at]))


def value_information(stakes: Stakes) -> Values:
    """Value of information at every place."""
    rows = zip(stakes.gain, stakes.cost, stakes.bottom_mm, stakes.present, strict=True)
    return Values(table=np.stack([_value_at(*row) for row in rows]))


def _value_at(gain: Floats, cost: Floats, bottom_mm: Floats, present: Floats) -> Floats:
    """Value (r, r) at one place."""
    allowed, chance = np.isfinite(cost), float(present.mean())
    if allowed.sum() < 2 or chance < _SURE:
        return np.zeros((FALLS.size, FALLS.size))
    known = present > 0
    given = expected_given(gain[known][:, allowed], present[known], bottom_mm[known])
    chances, sign_weights = expected_chances(chance)
    # by fall of bottom and of presence, answer and sign together, and option
    returns = chances[None, :, None, :, None] * given[:, None, :, None, :] - cost[allowed]
    chance_of = np.outer(_WEIGHTS, sign_weights).ravel()
    found = answers_worth(returns.reshape(FALLS.size, FALLS.size, chance_of.size, -1), chance_of)
    return np.where(found > _NEGLIGIBLE * np.abs(returns).max(), found, 0.0)


def answers_worth(returns: Floats, chance: Floats) -> Floats:
    """Expected value of sample information, E[max E[U | z]] - max E[U], shape (...); of states, that of perfect one.

    Parameters
    ----------
    returns : (..., n_answers, n_options)
        Expected return of each option given each answer.
    chance : (n_answers,)
        Probability of each answer.

    Examples
    --------
    Two states of which either may be: knowing which lets one choose the better option in each.

    >>> answers_worth(np.array([[10.0, 4.0], [0.0, 4.0]]), np.array([0.5, 0.5])).item()
    2.0
    """
    without = np.einsum("...ao,a->...o", returns, chance).max(axis=-1)
    return np.asarray(np.einsum("...a,a->...", returns.max(axis=-1), chance) - without)


def expected_given(gain: Floats, present: Floats, bottom_mm: Floats) -> Floats:
    """Expected gain of each option where there is a pan, by answer on its bottom: (r, n_answers, n_options).

    Draws are weighted by how likely the answer is that their bottom would have given; the mean over the answers is
    that without any, so that none brings a gain of its own.

    Parameters
    ----------
    gain : (k, n_options)
        Of each draw, summed over the ground with a pan.
    present : (k,)
        Share of the ground with a pan.
    bottom_mm : (k,)
    """
    order = np.argsort(bottom_mm, kind="stable")
    total = present.sum()
    middle = np.cumsum(present[order]) - 0.5 * present[order]
    score = np.empty(len(order))
    score[order] = ndtri(middle / total)
    rho = np.sqrt(FALLS)[:, None, None]
    off = _ANSWERS[None, :, None] - rho * score
    power = np.log(present) - 0.5 * off**2 / (1.0 - rho**2)
    likely = np.exp(power - power.max(axis=-1, keepdims=True))  # far from every draw the nearest still counts
    found = (likely / likely.sum(axis=-1, keepdims=True)) @ (gain / present[:, None])
    plain = gain.sum(axis=0) / total
    return np.asarray(found + (plain - np.einsum("rio,i->ro", found, _WEIGHTS))[:, None, :])


def expected_chances(chance: float) -> tuple[Floats, Floats]:
    """Chance of a pan by fall of the variance of its presence and by answer, (r, n_signs), and the answers' own.

    Latent field and answer are jointly normal; answers are sorted into classes of equal probability on either side of
    the one that perfect knowledge would turn on. The mean over the answers is `chance`.
    """
    if chance > 1.0 - _SURE:
        return np.full((FALLS.size, 1), chance), np.ones(1)
    rho = np.sqrt(FALLS)[:, None]
    given = ndtr((ndtri(chance) + rho * _FINE) / np.sqrt(1.0 - rho**2))
    level = np.cumsum(_FINE_WEIGHTS) - 0.5 * _FINE_WEIGHTS
    below = level < 1.0 - chance
    steps = np.where(below, level / (1.0 - chance), (level - 1.0 + chance) / chance)
    sign = np.where(below, 0, _SIGNS) + np.clip((_SIGNS * steps).astype(int), 0, _SIGNS - 1)
    weights = np.asarray(np.bincount(sign, weights=_FINE_WEIGHTS, minlength=2 * _SIGNS), dtype=np.float64)
    found = np.stack([np.bincount(sign, weights=_FINE_WEIGHTS * row, minlength=2 * _SIGNS) for row in given])
    return np.asarray(found * (chance / found.sum(axis=1, keepdims=True)) / np.maximum(weights, 1e-300)), weights
