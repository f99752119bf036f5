"""What moisture makes of a reading, from unripped ground."""

import numpy as np
import pandas as pd
import pytest

from hardpan.verify.moisture import factor_of
from hardpan.verify.profiles import Gridded, depths_mm


def ground(levels, *, times=1.0, sites=None):
    n = len(levels)
    names = [f"s{at}" for at in range(n)] if sites is None else sites
    about = pd.DataFrame({"insertion": [f"i{at}" for at in range(n)], "site": names})
    return Gridded(about=about, kpa=times * np.outer(levels, np.ones(depths_mm().size)))


def test_the_factor_is_the_ratio_of_geometric_means():
    found = factor_of(ground([2000.0, 3000.0], times=0.63), ground([2000.0, 3000.0]), level=0.9)
    assert found.value == pytest.approx(0.63)
    assert found.low < 0.63 < found.high
    assert found.controls == 2


def test_controls_on_softer_ground_are_held_against_the_survey_there():
    """What a plan leaves unripped is soft: its 1,000 kPa are no less than before, though the survey's mean is 2,000."""
    zones = {"later": [1] * 3, "earlier": [1] * 3 + [2] * 3}
    later, earlier = ground([1000.0, 1100.0, 900.0], times=0.85), ground([1000.0, 1100.0, 900.0] + [3000.0] * 3)
    later.about["zone"], earlier.about["zone"] = zones["later"], zones["earlier"]
    found = factor_of(later, earlier, level=0.9, ground={1: "left", 2: "ripped"})
    assert found.value == pytest.approx(0.85)
    assert found.low < 0.85 < found.high
    assert factor_of(later, earlier, level=0.9).high < 0.85


def test_one_site_gives_no_factor():
    assert factor_of(ground([2000.0, 2500.0], sites=["a", "a"]), ground([2000.0, 3000.0]), level=0.9) is None
    assert factor_of(ground([2000.0]), ground([2000.0, 3000.0]), level=0.9) is None


def test_like_ground_has_an_interval_of_no_width():
    found = factor_of(ground([2000.0] * 3, times=1.6), ground([2000.0] * 3), level=0.9)
    assert (found.low, found.value, found.high) == pytest.approx((1.6, 1.6, 1.6))


def test_the_interval_is_welchs():
    # oracle: scipy.stats.ttest_ind on the logarithms
    from scipy.stats import ttest_ind

    later, earlier = [1500.0, 1800.0, 2100.0, 1700.0], [2500.0, 2600.0, 2300.0]
    found = factor_of(ground(later), ground(earlier), level=0.9)
    right = ttest_ind(np.log(later), np.log(earlier), equal_var=False).confidence_interval(0.9)
    assert (np.log(found.low), np.log(found.high)) == pytest.approx((right.low, right.high))
