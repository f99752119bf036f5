"""Worked kriging examples of the literature.

[isaaks1989] chapter 12, seven samples: data and the printed weights, estimate and variance from memory; recomputed with
general geostatistics software, which gives every digit remembered. [kitanidis1997] two linear-variogram examples, read
at second hand in a public unit test, recomputed. A linear variogram is the limit of an exponential one of great length:
gamma = s (1 - exp(-h / a)) -> (s / a) h.
"""

import numpy as np
import pytest

from hardpan import geostat
from hardpan.geostat import Covariance, Structure

XY = np.array([[61, 139], [63, 140], [64, 129], [68, 128], [71, 140], [73, 141], [75, 128]], dtype=float)
V = np.array([477.0, 696, 227, 646, 606, 791, 783])
TARGET = np.array([65.0, 137.0])


def seven(*, structure_sill=10.0, block_m=None, **parts):
    structure = Structure(family="exponential", sill=structure_sill, length_m=1 / 0.3)
    covariance = Covariance(structures=(structure,), **parts)
    return kriged(covariance, XY, V, TARGET, block_m), weights_of(covariance, XY, TARGET, block_m)


def kriged(covariance, xy, z, target, block_m=None):
    field = geostat.condition(geostat.observe(*xy.T, z), covariance)
    return geostat.krige(field, target[:1], target[1:], block_m=block_m)


def weights_of(covariance, xy, target, block_m=None):
    """What the prediction makes of a datum of 1 among zeros."""
    return [kriged(covariance, xy, unit, target, block_m).mean[0] for unit in np.eye(len(xy))]


def test_seven_samples_have_the_weights_estimate_and_variance_of_the_book():
    kriged, weights = seven()
    assert weights == pytest.approx([0.173, 0.318, 0.129, 0.086, 0.151, 0.057, 0.086], abs=5e-4)
    assert kriged.mean[0] == pytest.approx(592.7, abs=0.05)
    assert kriged.variance[0] == pytest.approx(8.96, abs=0.005)
    # recomputed elsewhere to all digits
    assert kriged.mean[0] == pytest.approx(592.728942789743, abs=1e-9)
    assert kriged.variance[0] == pytest.approx(8.95605278865636, abs=1e-11)


def test_seven_samples_with_a_nugget_and_over_a_block_agree_with_general_software():
    with_nugget, _ = seven(structure_sill=9.0, micro=1.0)
    assert with_nugget.mean[0] == pytest.approx(593.179285, abs=5e-7)
    assert with_nugget.variance[0] == pytest.approx(9.243846, abs=5e-7)
    block, _ = seven(block_m=2.0)
    # six decimals are printed, and that software's quadrature nodes carry only ten digits
    assert block.mean[0] == pytest.approx(592.405878, abs=1e-6)
    assert block.variance[0] == pytest.approx(6.368559, abs=5e-7)


def linear(slope, nugget, xy, target):
    length_m = 1e7  # of the order of 1e-6 of the slope is lost by the information of the exponential
    structure = Structure(family="exponential", sill=slope * length_m, length_m=length_m)
    return Covariance(structures=(structure,), micro=nugget), np.array(xy), np.array(target)


def test_three_points_on_a_line_have_the_published_first_weight():
    covariance, xy, target = linear(1.0, 1.0, [[0.0, 0], [1.0, 0], [3.0, 0]], [2.0, 0.0])
    weights = weights_of(covariance, xy, target)
    assert weights[0] == pytest.approx(0.1304, abs=5e-5)
    assert weights[0] == pytest.approx(3 / 23, abs=1e-6)


def test_two_wells_have_the_published_estimate_and_variance():
    covariance, xy, target = linear(0.006, 0.1, [[9.7, 47.6], [43.8, 24.6]], [18.8, 67.9])
    there = kriged(covariance, xy, np.array([1.22, 2.822]), target)
    assert there.mean[0] == pytest.approx(1.6364, abs=5e-5)
    assert there.variance[0] == pytest.approx(0.4201, abs=5e-5)
