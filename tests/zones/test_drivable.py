import numpy as np
import pytest
from scipy import ndimage

from hardpan.spatial.regions import pieces_of
from hardpan.zones.drivable import Cells, Least, make_drivable

CELL_HA = 0.01


def cells_of(depth_mm, soil=None):
    depth_mm = np.asarray(depth_mm, dtype=float)
    soil = np.zeros(depth_mm.shape, dtype=int) if soil is None else soil
    return Cells(soil=soil, depth_mm=depth_mm, area_ha=np.where(soil >= 0, CELL_HA, 0.0))


def blocks(*rows):
    return np.array([[int(letter) for letter in row] for row in rows for _ in range(10)]).repeat(10, axis=1)


DEPTH_MM = np.array([300.0, 420.0, 500.0, 370.0])


def test_a_small_piece_joins_the_neighbour_of_nearest_depth():
    classes = blocks("000222", "000222", "000222", "000222")
    classes[17:23, 27:33] = 1
    depth_mm = DEPTH_MM[classes]
    joined, told = make_drivable(classes, np.zeros(3, int), cells_of(depth_mm), Least(area_ha=0.4, width_cells=2))
    assert (joined[18:22, 28:32] == 2).all()  # 420 is nearer to 500 than to 300
    assert told[0][0].code == "piece-joined"
    assert "420 mm" in told[0][0].what
    assert "500 mm" in told[0][0].done
    spot = np.zeros(classes.size, dtype=bool)
    spot[told[0][1]] = True
    assert (spot.reshape(classes.shape)[18:22, 28:32]).all()
    assert spot.sum() <= 36


def test_a_tie_goes_to_the_shallower_neighbour():
    classes = blocks("000222", "000222")
    classes[7:13, 27:33] = 1
    depth_mm = np.array([300.0, 400.0, 500.0])[classes]
    joined, _ = make_drivable(classes, np.zeros(3, int), cells_of(depth_mm), Least(area_ha=0.4, width_cells=2))
    assert (joined[8:12, 28:32] == 0).all()


def test_a_piece_stays_on_its_soil_type_even_when_a_nearer_depth_lies_across():
    soil = blocks("0011", "0011")
    classes = np.where(soil == 1, 2, 0)
    classes[6:10, 16:20] = 1
    depth_mm = np.array([300.0, 490.0, 500.0])[classes]
    joined, told = make_drivable(
        classes, np.array([0, 0, 1]), cells_of(depth_mm, soil), Least(area_ha=0.3, width_cells=2)
    )
    assert (joined == np.where(soil == 1, 2, 0)).all()
    assert "on the same soil type" in told[0][0].done


def test_a_soil_spot_too_small_to_drive_joins_across_and_the_issue_says_so():
    soil = np.zeros((30, 30), dtype=int)
    soil[10:14, 10:14] = 1
    joined, told = make_drivable(
        soil, np.array([0, 1]), cells_of(400.0 + 50 * soil, soil), Least(area_ha=0.3, width_cells=2)
    )
    assert (joined == 0).all()
    assert "on another soil type" in told[0][0].done


def test_a_bridge_narrower_than_the_machine_goes_to_the_ground_around_it():
    classes = np.zeros((40, 60), dtype=int)
    classes[10:30, 5:20] = classes[10:30, 40:55] = 1
    classes[19:21, 20:40] = 1  # two cells wide
    joined, _ = make_drivable(classes, np.zeros(2, int), cells_of(DEPTH_MM[classes]), Least(area_ha=0.3, width_cells=4))
    assert (joined[19:21, 24:36] == 0).all()
    assert (joined[12:28, 8:18] == 1).all()


def test_a_long_narrow_band_is_shared_by_the_ground_on_either_side_and_told():
    classes = np.zeros((60, 60), dtype=int)
    classes[30:] = 2
    classes[28:32] = 1
    least = Least(area_ha=0.3, width_cells=6)
    joined, told = make_drivable(classes, np.zeros(3, int), cells_of(DEPTH_MM[classes]), least)
    assert (joined[:30] == 0).all()
    assert (joined[30:] == 2).all()
    strips = [(issue, about) for issue, about in told if issue.code == "strip-joined"]
    assert len(strips) == 1
    assert "420 mm" in strips[0][0].what
    assert set(strips[0][1] // 60) == {28, 29, 30, 31}


@pytest.mark.parametrize("width", [2, 3, 4, 6])
@pytest.mark.parametrize("seed", range(4))
def test_every_piece_is_large_and_wide_enough_everywhere(seed, width):
    rng = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(rng.normal(size=(80, 100)), 5)
    classes = np.digitize(field, np.quantile(field, [0.25, 0.5, 0.75]))
    least = Least(area_ha=0.5, width_cells=width)
    joined, _ = make_drivable(classes, np.zeros(4, int), cells_of(300 + 60.0 * classes), least)
    pieces = pieces_of(joined)
    assert np.bincount(pieces.ravel()).min() * CELL_HA >= 0.5
    for number in range(pieces.max() + 1):
        piece = pieces == number
        core = ndimage.binary_erosion(np.pad(piece, 1), np.ones((width - 1, width - 1)))[1:-1, 1:-1]
        assert core.any()
        # a corner may be sharper than a machine, a strip may not: nothing lies further from a core than a corner does
        assert ndimage.distance_transform_edt(~core)[piece].max() <= 2 * width


def test_ground_that_is_already_drivable_is_left_alone():
    classes = blocks("0011", "0011", "2233", "2233")
    joined, told = make_drivable(
        classes, np.zeros(4, int), cells_of(DEPTH_MM[classes]), Least(area_ha=0.5, width_cells=4)
    )
    assert (joined == classes).mean() > 0.995  # a disc rounds the corners where four classes meet
    assert not [issue for issue, _ in told if issue.code == "piece-joined"]
