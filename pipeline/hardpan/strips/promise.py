"""What pairs of strips can show, known before anyone rips."""

import numpy as np
from scipy.optimize import brentq
from scipy.special import gammaincinv, ndtr, stdtrit

CUTS = 4000
"""Equal shares of the draws of a standard deviation that a chance is summed over: right to 1e-4."""


def degrees_between(pairs: int, zones: int) -> int:
    """Degrees of freedom between strips: all of them less a level for each zone and one for the treatment.

    No interval of a trial is judged by fewer, whatever its field explains; pair by pair there would be about half.
    """
    return 2 * pairs - zones - 1


def detectable(pairs: int, strip_cv: float, *, zones: int = 1, level: float, power: float) -> float:
    """Smallest true difference, a share of the mean yield, that the interval of a trial finds with a given chance.

    NaN with fewer than two pairs; 0 where chance alone finds one as often.

    Parameters
    ----------
    pairs : int
        Pairs of strips, at least one a zone.
    strip_cv : float
        Standard deviation between the two strips of a pair where both are treated alike, over sqrt 2, as a share of
        the mean.
    zones : int
        Zones they lie in, each with a yield of its own.
    level : float
        Level of the two-sided interval that has to leave out 0.
    power : float
        Chance that it does.

    Notes
    -----
    The interval is that of the mixed model which a trial is judged by. Its field takes out what neighbouring strips
    have in common, as the differences of pairs do, but its error is known from all strips: see `degrees_between`.

    >>> round(detectable(4, 0.08, level=0.95, power=0.8), 3)
    0.19
    """
    if pairs < 2:
        return float("nan")
    if power <= 1.0 - level:
        return 0.0
    df = degrees_between(pairs, zones)
    most = strip_cv * 10.0 * (10.0 + stdtrit(df, (1.0 + level) / 2.0))
    found = brentq(lambda difference: power_of(difference, pairs, strip_cv, df=df, level=level) - power, 0.0, most)
    return float(found)


def power_of(difference: float, pairs: int, strip_cv: float, *, df: int, level: float) -> float:
    """Chance that Student's two-sided interval at a level leaves out 0, given a true difference, a share of the mean.

    Notes
    -----
    With n pairs the mean difference has the standard error e = c sqrt(2 / n). Where it is estimated as s times that,
    the test finds the difference d with the chance Phi(d / e - t s) + Phi(-d / e - t s); df times the square of s has
    the chi-squared distribution with df degrees of freedom. Together that is the noncentral t.
    """
    shift = difference / (strip_cv * np.sqrt(2.0 / pairs))
    s = np.sqrt(2.0 * gammaincinv(df / 2.0, (np.arange(CUTS) + 0.5) / CUTS) / df)
    edge = stdtrit(df, (1.0 + level) / 2.0) * s
    return float((ndtr(shift - edge) + ndtr(-shift - edge)).mean())
