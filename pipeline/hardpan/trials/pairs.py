"""Student's t on the differences of pairs: the plain answer beside that of the mixed model."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.geostat import Effect
from hardpan.records.trial import Treatment


def paired_t(differences: Floats) -> Effect | None:
    """Mean of independent differences with its error and degrees of freedom [student1908]; None of fewer than two.

    >>> one = paired_t(np.array([1.0, 2.0, 3.0]))
    >>> one.estimate, round(one.se, 4), one.df
    (2.0, 0.5774, 2.0)
    """
    n = len(differences)
    if n < 2:
        return None
    return Effect(
        estimate=float(np.mean(differences)), se=float(np.std(differences, ddof=1) / np.sqrt(n)), df=float(n - 1)
    )


def pair_differences(means: pd.DataFrame) -> pd.Series:
    """Ripped less unripped of each pair whose strips were both harvested, by pair; means where it has several."""
    paired = means[means["pair"] > 0].pivot_table(index="pair", columns="treatment", values="mean")
    if not set(Treatment) <= set(paired.columns):
        return pd.Series(dtype=float)
    return (paired[Treatment.RIPPED] - paired[Treatment.UNRIPPED]).dropna()
