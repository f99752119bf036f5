from itertools import pairwise

import numpy as np
import pytest

from hardpan.options.effort import Puller
from hardpan.options.mechanics import field_efficiency
from hardpan.records.reasons import MACHINE_LIMITS


def puller(catalog, depths_mm, *, setup="plain", texture="coarse", **tractor):
    if tractor:
        changed = {name: getattr(catalog.tractor, name).model_copy(update={"value": v}) for name, v in tractor.items()}
        catalog = catalog.model_copy(update={"tractor": catalog.tractor.model_copy(update=changed)})
    depths = np.asarray(depths_mm, dtype=float)
    return Puller(catalog=catalog, texture=texture, setups=(catalog.setups[setup],) * depths.size, depth_mm=depths)


def test_deeper_is_slower_and_takes_more_fuel_and_time(catalog):
    passes = puller(catalog, np.arange(300, 601, 50)).plan(7)
    assert (np.diff(passes.speed_kmh) <= 0).all()
    assert (np.diff(passes.hours_per_ha) >= 0).all()
    assert (np.diff(passes.pull_l_per_ha + passes.idle_l_per_ha) > 0).all()


def test_heavier_soil_is_slower_and_takes_more_fuel(catalog):
    sand, loam = (puller(catalog, [450.0], texture=texture).plan(7) for texture in ("coarse", "medium"))
    assert loam.hours_per_ha[0] > sand.hours_per_ha[0]
    assert loam.pull_l_per_ha[0] > sand.pull_l_per_ha[0]


def test_no_pass_is_beyond_a_limit_and_the_next_faster_speed_would_be(catalog):
    ask = puller(catalog, np.arange(300, 651, 50))
    passes = ask.plan(7)
    assert (passes.load <= 1.0).all()
    slowed = passes.limited_by >= 0
    faster = ask.pull_at(float(passes.speed_kmh[slowed][0]) + 0.25)
    assert faster.load[slowed][0] > 1.0


def test_a_light_load_is_driven_at_the_top_of_the_window(catalog):
    passes = puller(catalog, [200.0]).plan(7)
    assert passes.speed_kmh[0] == catalog.tractor.max_speed.value
    assert passes.limited_by[0] == -1


@pytest.mark.parametrize("tines", [7, 5, 3, 1])
def test_every_depth_is_pulled_with_the_same_number_of_tines_or_not_at_all(catalog, tines):
    passes = puller(catalog, np.arange(200, 651, 50), engine_power=110).plan(tines)
    pulled = ~np.isnan(passes.speed_kmh)
    assert pulled.any()
    assert (passes.tines[pulled] == tines).all()


def test_what_many_tines_pull_fewer_pull_as_well(catalog):
    ask = puller(catalog, np.arange(200, 651, 25), engine_power=110)
    pulled = [~np.isnan(ask.plan(tines).speed_kmh) for tines in (7, 5, 3, 1)]
    for more, fewer in pairwise(pulled):
        assert (fewer | ~more).all()
    assert pulled[0].sum() < pulled[-1].sum()


@pytest.mark.parametrize("tines", [7, 5, 3])
def test_two_passes_are_taken_where_one_cannot_be_pulled_or_is_slower(catalog, tines):
    ask = puller(catalog, np.arange(200, 651, 25), engine_power=110)
    ways = [ask.pull(tines), ask._pull_twice(tines, 0.6)]
    fastest = np.min([np.nan_to_num(way.hours_per_ha, nan=np.inf) for way in ways], axis=0)
    assert np.nan_to_num(ask.plan(tines).hours_per_ha, nan=np.inf).tolist() == fastest.tolist()


def test_fewer_tines_and_two_passes_are_put_down_to_what_held_all_tines_back(catalog):
    for power_kw, tines in ((110, 7), (60, 3)):
        passes = puller(catalog, [550.0], engine_power=power_kw).plan(tines)
        assert passes.tines[0] < 7 or passes.passes[0] == 2
        assert not passes.whole[0]
        assert MACHINE_LIMITS[passes.limited_by[0]] == "engine power"


def test_what_cannot_be_pulled_at_all_is_nan(catalog):
    passes = puller(catalog, [600.0], engine_power=5).plan(7)
    assert all(np.isnan(getattr(passes, name)[0]) for name in ("speed_kmh", "draft_kn", "hours_per_ha"))


def test_a_light_tractor_is_held_by_its_grip(catalog):
    passes = puller(catalog, [550.0], mass=9000).plan(7)
    assert MACHINE_LIMITS[passes.limited_by[0]] == "grip of the tractor"


def test_slip_at_the_grip_limit_is_the_usual_slip_of_the_drive(catalog):
    passes = puller(catalog, [550.0], mass=9000).plan(5)
    assert passes.slip[0] <= catalog.effort.slip["track"].value
    assert passes.slip[0] == pytest.approx(catalog.effort.slip["track"].value, rel=0.1)


def test_a_harder_pull_slows_the_work_and_an_easier_one_saves_fuel_only(catalog):
    passes = puller(catalog, [550.0]).plan(7)
    hours, litres = passes.at(np.array([[0.5], [1.0], [2.0]]))
    assert hours[0] == hours[1] < hours[2]
    assert litres[0] < litres[1] < litres[2]


def test_short_runs_cost_time(catalog):
    long, short = field_efficiency(catalog.effort, np.array([600.0, 60.0]), 6.0)
    assert long == catalog.effort.field_efficiency.value
    assert short == pytest.approx(36.0 / (36.0 + catalog.effort.turn_time.value))
