"""What pairs of strips can show, known before anyone rips."""

import numpy as np
from scipy.optimize import brentq
from scipy.special import gammaincinv, ndtr, stdtrit

CUTS = 4000
"""Equal shares of the draws of a standard deviation that a chance is summed over: right to 1e-4."""


def detectable(pairs: int, strip_cv: float, *, level: float, power: float) -> float:
    """Smallest true difference, a share of the mean yield, that a paired t test finds with a given chance.

    NaN with fewer than two pairs; 0 where chance alone finds one as often.

    Parameters
    ----------
    pairs : int
        Pairs of strips.
    strip_cv : float
        Standard deviation between the two strips of a pair where both are treated alike, over sqrt 2, as a share of
        the mean.
    level : float
        Level of the two-sided interval that has to leave out 0.
    power : float
        Chance that it does.

    >>> round(detectable(4, 0.08, level=0.95, power=0.8), 3)
    0.241
    """
    if pairs < 2:
        return float("nan")
    if power <= 1.0 - level:
        return 0.0
    most = strip_cv * 10.0 * (10.0 + stdtrit(pairs - 1, (1.0 + level) / 2.0))
    found = brentq(lambda difference: power_of(difference, pairs, strip_cv, level=level) - power, 0.0, most)
    return float(found)


def power_of(difference: float, pairs: int, strip_cv: float, *, level: float) -> float:
    """Chance that a two-sided paired t test at a level finds a true difference, a share of the mean.

    Notes
    -----
    With n pairs the mean difference has the standard error e = c sqrt(2 / n). Where the sample's standard deviation is
    s times the true one, the test finds it with the chance Phi(d / e - t s) + Phi(-d / e - t s); n - 1 times the square
    of s has the chi-squared distribution with n - 1 degrees of freedom. Together that is the noncentral t.
    """
    df, shift = pairs - 1, difference / (strip_cv * np.sqrt(2.0 / pairs))
    s = np.sqrt(2.0 * gammaincinv(df / 2.0, (np.arange(CUTS) + 0.5) / CUTS) / df)
    edge = stdtrit(df, (1.0 + level) / 2.0) * s
    return float((ndtr(shift - edge) + ndtr(-shift - edge)).mean())
