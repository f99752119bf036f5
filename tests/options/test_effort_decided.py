"""What it takes to pull, through the stage: a machine short of power, and harder or heavier ground."""

import numpy as np
import pytest

from hardpan.records.decision import MachineSettings
from hardpan.records.reasons import Limit

PLAIN = MachineSettings(setup="plain")


def decided(made, *, power_kw=370, peak_kpa=3500.0, soil="deep sand", machine=PLAIN, effort=None, worth=900.0, **ask):
    """Options and plan of one soil with a pan worth breaking, plain tines only."""
    catalog = made.shipped_catalog(machine={"tractor": {"like": "tracked-370kw", "engine_power": power_kw}})
    if effort:
        catalog = catalog.model_copy(update={"effort": catalog.effort.model_copy(update=effort)})
    surfaces, survey, zones = made.ground(side_m=(80.0, 80.0), bottom_mm=500.0, soils=(soil,))
    surfaces.draws["peak_kpa"][:] = peak_kpa
    money = made.rates([soil], worth=worth, per_hour=120.0)
    return made.decide((surfaces, survey, zones), catalog, money, machine=machine, **ask)


def shortage(made, power_kw, **ask):
    options, plan = decided(made, power_kw=power_kw, **ask)
    return options, plan.zones.iloc[0], plan.machine.iloc[0], plan.reasons[0].why


def test_less_power_gives_the_same_depth_slower_and_says_which(made):
    _, full, _, _ = shortage(made, 370, rule="cover")
    _, zone, machine, why = shortage(made, 200, rule="cover")
    assert zone["depth_mm"] == full["depth_mm"]
    assert zone["speed_kmh"] < full["speed_kmh"]
    assert (machine["tines"], zone["passes"]) == (7, 1)
    assert machine["limited_by"] == Limit.POWER
    assert (why.pull.short_of.limit, why.pull.short_of.value) == (Limit.POWER, 170)
    assert why.pull.slow_kmh == zone["speed_kmh"]


def test_still_less_gives_fewer_tines_and_says_which(made):
    _, zone, machine, why = shortage(made, 150, rule="cover")
    assert (machine["tines"], zone["passes"]) == (5, 1)
    assert (why.pull.tines, why.pull.all_tines, why.pull.short_of.limit) == (5, 7, Limit.POWER)
    assert why.pull.short_of.value == pytest.approx(127.5)


def test_where_two_passes_are_faster_they_are_taken_and_it_says_why(made):
    _, zone, machine, why = shortage(made, 110, rule="cover", machine=MachineSettings(setup="plain", tines=7))
    assert (machine["tines"], zone["passes"]) == (7, 2)
    assert (why.pull.passes, why.pull.short_of.limit, why.pull.short_of.value) == (2, Limit.POWER, 93.5)


def test_where_a_second_pass_does_not_pay_it_goes_shallower_and_says_which(made):
    _, full, _, _ = shortage(made, 370, worth=300.0)
    options, zone, machine, why = shortage(made, 130, worth=300.0)
    assert 0 < zone["depth_mm"] < full["depth_mm"]
    assert machine["tines"] == 7
    assert why.held is None
    assert (why.deeper.passes, why.deeper.short_of.value) == (2, 110.5)
    deeper = options.table[options.table["depth_mm"] == zone["depth_mm"] + 25].iloc[0]
    assert (deeper["tines"], deeper["passes"], deeper["limited_by"]) == (7, 2, Limit.POWER)


def test_where_the_depth_cannot_be_pulled_at_all_it_goes_shallower_and_says_which(made):
    options, zone, _, why = shortage(made, 14, rule="cover")
    beyond = options.table.loc[~options.table["feasible"], "depth_mm"].min()
    assert zone["depth_mm"] == beyond - 25
    assert (why.held.limit, why.held.from_mm) == (Limit.POWER, beyond)
    assert why.held.value == pytest.approx(11.9)


def test_a_pass_in_the_faster_half_of_the_speed_window_is_not_called_slow(made):
    _, zone, machine, why = shortage(made, 370, rule="cover")
    assert zone["speed_kmh"] >= 6.0
    assert machine["limited_by"] == Limit.POWER
    assert np.isnan(why.pull.slow_kmh)


@pytest.mark.parametrize("output", ["costs", "fuel_l", "hours"])
def test_a_stronger_pan_costs_more_at_every_depth(made, output):
    """A cone index says of draft what penetration energy does (`desbiolles-draught`)."""
    weak, usual, strong = (
        getattr(decided(made, peak_kpa=kpa)[0].uniform, output).mean(axis=1)[1:] for kpa in (2000.0, 3500.0, 5000.0)
    )
    assert (weak <= usual).all()
    assert (usual <= strong).all()
    assert (weak < strong).any()


def test_without_an_exponent_strength_moves_nothing_as_in_the_equation(made):
    none = {"strength_exponent": None}
    weak, strong = (decided(made, peak_kpa=kpa, effort=none)[0] for kpa in (2000.0, 5000.0))
    np.testing.assert_array_equal(weak.uniform.costs, strong.uniform.costs)
    np.testing.assert_array_equal(weak.table["draft_kn"], strong.table["draft_kn"])


def test_a_strength_nowhere_known_is_that_of_the_equation(made):
    unknown, usual = (decided(made, peak_kpa=kpa)[0] for kpa in (np.nan, 3500.0))
    np.testing.assert_allclose(unknown.uniform.costs, usual.uniform.costs)


def test_clay_pulls_harder_than_loam_and_loam_than_sand(made):
    """D497's texture factors (`d497`): fine 1.0, medium 0.7, coarse 0.45."""
    tables = {soil: decided(made, soil=soil, power_kw=5000)[0].table for soil in ("deep sand", "loam", "clay")}
    at = {soil: table[table["depth_mm"] == 300].iloc[0] for soil, table in tables.items()}
    assert len({row["speed_kmh"] for row in at.values()}) == 1
    assert at["loam"]["draft_kn"] / at["clay"]["draft_kn"] == pytest.approx(0.7)
    assert at["deep sand"]["draft_kn"] / at["clay"]["draft_kn"] == pytest.approx(0.45)
    assert at["deep sand"]["fuel_l_per_ha"] < at["loam"]["fuel_l_per_ha"] < at["clay"]["fuel_l_per_ha"]


def test_a_pass_measured_in_this_ground_is_met_whatever_its_strength(made):
    """The strength of the ground is in the measured fuel already and must not count twice."""
    usual = decided(made)[0].table
    row = usual[usual["depth_mm"] == 450].iloc[0]
    fuel = float(row["fuel_l_per_ha"])
    seen = {"observed_depth_mm": 450.0, "observed_speed_kmh": row["speed_kmh"], "setup": "plain"}
    machine = MachineSettings(**seen, observed_fuel_l_per_ha=fuel)
    for kpa in (2000.0, 3500.0, 5000.0):
        table = decided(made, peak_kpa=kpa, machine=machine)[0].table
        assert table.loc[table["depth_mm"] == 450, "fuel_l_per_ha"].iloc[0] == pytest.approx(fuel)


def test_a_pass_measured_in_weaker_ground_makes_this_ground_pull_harder(made):
    seen = {"observed_fuel_l_per_ha": 28.0, "observed_depth_mm": 450.0, "observed_speed_kmh": 7.0, "setup": "plain"}
    here, weaker = (
        decided(made, peak_kpa=4000.0, machine=MachineSettings(**seen, observed_strength_kpa=kpa))[0]
        for kpa in (4000.0, 2500.0)
    )
    assert weaker.uniform.fuel_l.mean() > here.uniform.fuel_l.mean()


def test_less_is_known_of_fuel_the_further_from_the_anchor_depth(made):
    options = decided(made, power_kw=5000)[0]
    fuel, depth = options.uniform.fuel_l, options.table["depth_mm"].to_numpy()
    relative = fuel[1:].std(axis=1) / fuel[1:].mean(axis=1)
    at = {mm: relative[depth[1:] == mm][0] for mm in (300, 450, 600)}
    assert at[300] < at[450] < at[600]


@pytest.mark.parametrize("peak_kpa", [2000.0, 4500.0])
def test_dearer_fuel_never_deepens_in_weak_or_strong_ground(made, catalog, peak_kpa):
    surfaces, survey, zones = made.ground(side_m=(80.0, 80.0), bottom_mm=500.0)
    surfaces.draws["peak_kpa"][:] = peak_kpa
    depths = [
        made.decide(
            (surfaces, survey, zones),
            catalog,
            made.rates(["deep sand"], worth=600.0, per_hour=120.0, per_litre=price),
            machine=PLAIN,
        )[1].zones["depth_mm"][0]
        for price in (0.5, 1.5, 3.0, 5.0)
    ]
    assert (np.diff(depths) <= 0).all()
    assert depths[0] > depths[-1]


def test_each_zone_is_pulled_through_the_pan_of_its_own_soil(made, catalog):
    """Two sands of one texture, the pan of the second stronger: the same depth asks more of the machine there."""
    soils = ("deep sand", "loamy sand")
    surfaces, survey, zones = made.ground(side_m=(160.0, 80.0), bottom_mm=380.0, soils=soils)
    strong = surfaces.draws["soil"].to_numpy() == 1
    surfaces.draws["peak_kpa"][:, strong] = 5000.0
    money = made.rates(list(soils), worth=900.0, per_hour=120.0)
    plan = made.decide((surfaces, survey, zones), catalog, money, machine=PLAIN, rule="cover")[1]
    assert plan.zones["depth_mm"].nunique() == 1
    weak_zone, strong_zone = plan.machine.iloc[0], plan.machine.iloc[1]
    assert strong_zone["fuel_l_per_ha"] > weak_zone["fuel_l_per_ha"]
    per_ha = plan.fuel_l.mean(axis=1) / plan.zones["area_ha"].to_numpy()
    assert per_ha[1] > per_ha[0]
