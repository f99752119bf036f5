import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy.stats import norm

from hardpan.prescription.reasons import probes_to_tell, turning_bottom_mm
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.reasons import Open, Opening

STRONG = {"like": "tracked-370kw", "engine_power": 5000, "mass": 300_000}


def test_the_turning_bottom_parts_the_draws_in_which_the_runner_up_wins():
    bottom = np.arange(300.0, 500.0)
    assert turning_bottom_mm(bottom, bottom > 419.0, deeper=True) == pytest.approx(419.5, abs=1)
    assert turning_bottom_mm(bottom, bottom < 380.0, deeper=False) == pytest.approx(379.5, abs=1)


def test_no_bottom_parts_draws_that_money_decides():
    rng = np.random.default_rng(0)
    assert turning_bottom_mm(rng.uniform(300, 500, 300), rng.uniform(size=300) < 0.2, deeper=True) is None


@pytest.mark.parametrize("sd_mm", [20.0, 40.0, 50.0])
def test_so_many_probes_bring_a_mean_within_a_step_and_one_fewer_does_not(sd_mm):
    """The sample size of a mean: half the 90 % interval, 1.645 sd / sqrt(n), is a depth step or less."""
    bottom_mm = 400.0 + np.repeat([-sd_mm, sd_mm], 100)
    probes = probes_to_tell(bottom_mm, 25)
    reach_mm = norm.ppf(0.95) * sd_mm / np.sqrt([probes, probes - 1])
    assert reach_mm[0] <= 25.0 < reach_mm[1]


def test_never_more_than_a_dozen_probes_are_asked_for():
    assert probes_to_tell(np.linspace(100.0, 700.0, 50), 25) == 12


def test_the_depth_told_of_ground_left_is_the_best_on_its_chart(made, catalog):
    for worth in (20.0, 60.0, 100.0):
        _, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"], worth=worth))
        (best,) = {reason.why.best for reason in plan.reasons}
        rows = plan.candidates[plan.candidates["allowed"] & (plan.candidates["depth_mm"] > 0)]
        top = rows.loc[rows["net_per_ha"].idxmax()]
        assert (best.depth_mm, best.setup) == (top["depth_mm"], top["setup"])


def test_a_gain_out_of_reach_is_no_figure(made, catalog):
    _, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"], worth=0.01))
    assert plan.reasons[0].change == Open(by=Opening.STRIP)


def two_setups(made):
    """Tines with wings that go to 400 mm, and inclusion plates that go deeper but are barred on gravel."""
    ripper = {"like": "seven-tine-600", "setups": ["winged", "inclusion"]}
    catalog = made.shipped_catalog(machine={"tractor": STRONG, "ripper": ripper})
    deepest = catalog.ripper.max_depth.model_copy(update={"value": 400.0})
    short = catalog.setups["winged"].model_copy(update={"max_depth": deepest})
    return catalog.model_copy(update={"setups": catalog.setups | {"winged": short}})


def test_under_cover_only_what_the_ripper_is_fitted_with_counts_as_reachable(made):
    """Before, the share of a set-up that is not fitted was told: no depth passes below the pan on more than 100 %."""
    soils, money = ("gravelly sand", "gravelly sand", "deep sand"), made.rates(["gravelly sand", "deep sand"])
    place = shapely.Point(made.CORNER_M[0] + 30.0, made.CORNER_M[1] + 30.0)
    known = {"core": ["a"], "soil_type": ["gravelly sand"], "gravel_pct": [60.0]}
    cores = gpd.GeoDataFrame(known, geometry=[place], crs=made.CRS)
    ground = made.ground(soils=soils, bottom_mm=(340.0, 340.0, 500.0), sd_mm=10.0, cores=cores)
    catalog = two_setups(made)
    _, plan = made.decide(ground, catalog, money, rule="cover")
    assert plan.zones["setup"].tolist() == ["winged", "winged", ""]
    left = plan.reasons[2]
    assert left.why.cover.reachable < PrescriptionSettings().least_cover_share
    assert left.why.cover.otherwise
    assert left.change == Open(by=Opening.SETUP)
    told = made.words(catalog).zones.reason(left)
    assert "no depth allowed passes below the pan on more than 0 % of it" in told
    assert "another set-up would, but the ripper is fitted for the rest" in told


def test_ground_that_a_deeper_depth_covers_to_the_least_share_is_not_left(made, catalog):
    """The shallowest depth that covers the share asked for covers less than the least share; the deepest covers all."""
    money, shares = made.rates(["deep sand"]), {"cover_share": 0.6, "least_cover_share": 0.99}
    _, plan = made.decide(made.ground(sd_mm=40.0), catalog, money, rule="cover", **shares)
    assert plan.zones["depth_mm"].gt(0).all()
    assert plan.reasons[0].why.cover.reached < shares["least_cover_share"]
