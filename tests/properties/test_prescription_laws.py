"""Laws of the prescription that hold whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import decision
from hardpan.options.loosening import breaking_weights, cumulated_excess, depth_grid_mm, ridge_mm

CATALOG = decision.shipped_catalog()
GRID = depth_grid_mm(800.0)
SAND = ["deep sand"]


def broken(depth_mm, *, top, thick, foot, spacing, angle, critical, shape):
    """Share broken at each of several depths (or spacings)."""
    n = max(np.size(depth_mm), np.size(spacing))
    section = {
        "depth_mm": depth_mm,
        "foot_mm": foot,
        "spacing_mm": spacing,
        "critical_mm": critical,
        "ridge_mm": ridge_mm(foot, spacing, angle),
    }
    arrays = {name: np.broadcast_to(np.asarray(value, dtype=float), n) for name, value in section.items()}
    excess = cumulated_excess(np.float32([top]), np.float32([top + thick]), np.asarray(shape), GRID)
    return (excess @ breaking_weights(GRID, arrays))[0]


PANS = {
    "top": st.floats(50, 400),
    "thick": st.floats(30, 300),
    "foot": st.floats(40, 400),
    "angle": st.floats(30, 60),
    "shape": st.lists(st.floats(0.01, 1.0), min_size=3, max_size=20),
}


@settings(deadline=None, derandomize=True)
@given(**PANS, spacing=st.floats(300, 900), critical=st.floats(150, 800))
def test_the_share_broken_never_falls_with_depth_down_to_the_critical_depth(critical, **drawn):
    share = broken(np.linspace(50.0, critical, 40), critical=critical, **drawn)
    assert (np.diff(share) >= -1e-5).all()
    assert (share >= -1e-6).all()
    assert (share <= 1.0 + 1e-5).all()


@settings(deadline=None, derandomize=True)
@given(**PANS, depth=st.floats(100, 700), critical=st.floats(150, 800))
def test_the_share_broken_never_rises_with_spacing(depth, **drawn):
    share = broken(depth, spacing=np.linspace(200, 1200, 30), **drawn)
    assert (np.diff(share) <= 1e-5).all()


def cover_depth(bottom_mm, seed, **paddock):
    plan = decision.decide(
        decision.ground(side_m=(80.0, 80.0), bottom_mm=bottom_mm, seed=seed, **paddock),
        CATALOG,
        decision.rates(SAND),
        rule="cover",
    )[1]
    return plan.zones["depth_mm"][0]


@pytest.mark.slow
@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    shallow=st.floats(280, 560),
    deeper=st.floats(0, 150),
    sd_mm=st.floats(1, 60),
    seed=st.integers(0, 99),
    presence=st.floats(0.3, 1.0),
)
def test_under_cover_a_deeper_pan_never_gives_a_shallower_depth(shallow, deeper, sd_mm, seed, presence):
    made = {"seed": seed, "sd_mm": sd_mm, "presence": presence}
    assert cover_depth(shallow, **made) <= cover_depth(shallow + deeper, **made)


def return_depth(per_litre, worth, bottom_mm, per_hour=120.0):
    money = decision.rates(SAND, worth=worth, per_litre=per_litre, per_hour=per_hour)
    return decision.decide(
        decision.ground(side_m=(80.0, 80.0), bottom_mm=bottom_mm), CATALOG, money, setups_per_paddock=1
    )[1]


@pytest.mark.slow
@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    fuel=st.floats(0, 4),
    dearer=st.floats(0, 4),
    worth=st.floats(0, 900),
    bottom_mm=st.floats(300, 550),
    setup=st.sampled_from(["plain", "winged", "leading", "inclusion"]),
)
def test_dearer_fuel_never_deepens_with_the_same_set_up(fuel, dearer, worth, bottom_mm, setup):
    ground = decision.ground(side_m=(80.0, 80.0), bottom_mm=bottom_mm)
    depths = [
        decision.decide(
            ground,
            CATALOG,
            decision.rates(SAND, worth=worth, per_litre=price, per_hour=120.0),
            machine=decision.MachineSettings(setup=setup),
        )[1].zones["depth_mm"][0]
        for price in (fuel, fuel + dearer)
    ]
    assert depths[1] <= depths[0]


@settings(max_examples=8, deadline=None, derandomize=True)
@given(bottom_mm=st.floats(300, 600), per_hour=st.floats(0, 300), per_litre=st.floats(0.01, 4))
def test_no_response_gives_no_depth(bottom_mm, per_hour, per_litre):
    plan = return_depth(per_litre, 0.0, bottom_mm, per_hour)
    assert plan.zones["depth_mm"].tolist() == [0]
    assert (plan.returns == 0).all()


@pytest.mark.slow
@settings(max_examples=10, deadline=None, derandomize=True)
@given(worth=st.floats(100, 900), shallow=st.floats(300, 450), deeper=st.floats(0, 150))
def test_under_return_a_deeper_pan_gives_a_shallower_depth_only_by_leaving_it(worth, shallow, deeper):
    first, second = (
        return_depth(1.5, worth, bottom_mm).zones["depth_mm"][0] for bottom_mm in (shallow, shallow + deeper)
    )
    assert second == 0 or second >= first


@settings(max_examples=10, deadline=None, derandomize=True)
@given(worth=st.floats(0, 900), bottom_mm=st.floats(300, 550), step_mm=st.sampled_from([10, 25, 40, 50]))
def test_every_depth_stands_on_the_step_and_inside_the_machine(worth, bottom_mm, step_mm):
    money = decision.rates(SAND, worth=worth, per_hour=120.0)
    plan = decision.decide(decision.ground(side_m=(80.0, 80.0), bottom_mm=bottom_mm), CATALOG, money, step_mm=step_mm)[
        1
    ]
    depth = plan.zones["depth_mm"][0]
    assert depth % step_mm == 0
    assert depth == 0 or CATALOG.ripper.min_depth.value <= depth <= CATALOG.ripper.max_depth.value


@settings(max_examples=8, deadline=None, derandomize=True)
@given(worth=st.floats(50, 900), seed=st.integers(0, 99))
def test_the_chosen_option_is_the_best_of_the_candidates_with_its_set_up(worth, seed):
    money = decision.rates(SAND, worth=worth, per_hour=120.0)
    plan = decision.decide(decision.ground(side_m=(80.0, 80.0), seed=seed, sd_mm=40.0), CATALOG, money)[1]
    best = plan.candidates.loc[plan.candidates["allowed"], "net_per_ha"].max()
    assert plan.zones["net_per_ha"][0] == pytest.approx(max(best, 0.0), abs=0.05)
