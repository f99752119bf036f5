"""Block kriging of meuse zinc as the R package gstat records it.

Source: [gstat_tests] file tests/blockkr.Rout.save of gstat, commit 2a57876: 40 m blocks, at most 40 neighbours,
nugget 2.42e4 and spherical 1.34e5 of range 800 m. Seven significant digits are printed.
"""

import numpy as np
import pytest

from hardpan.geostat.covariance import Covariance, Structure
from hardpan.geostat.neighbourhood import krige_nearest

skgstat = pytest.importorskip("skgstat", reason="the meuse sample comes with scikit-gstat")

PRINTED = {
    (181170, 333250): (268.7576, 19447.67),
    (180310, 332189): (663.4915, 16991.33),
    (180205, 331707): (251.4606, 21579.71),
    (178673, 330066): (532.5776, 73807.91),
    (178770, 330675): (664.4039, 23589.17),
    (178270, 331075): (565.5436, 155113.23),
}


def test_six_blocks_of_zinc_have_the_printed_mean_and_variance():
    xy, zinc = (np.asarray(a, dtype=float) for a in skgstat.data.meuse(variable="zinc")["sample"])
    covariance = Covariance(structures=(Structure(family="spherical", sill=1.34e5, length_m=800),), micro=2.42e4)
    centres = np.array(list(PRINTED), dtype=float)
    kriged = krige_nearest(
        covariance, xy, np.ones((155, 1)), zinc.ravel(), centres, np.ones((6, 1)), neighbours=40, strict=True,
        block_m=40.0,
    )  # fmt: skip
    mean, variance = np.array(list(PRINTED.values())).T
    assert kriged.mean == pytest.approx(mean, abs=5.1e-5)
    assert kriged.variance == pytest.approx(variance, abs=5.1e-3)
