"""Any shipped number replaced by a user's own, by file, entry and key."""

import re
from pathlib import Path

import pytest

from hardpan.core.errors import SettingsError
from hardpan.core.settings import parse
from hardpan.run.catalog import moisture_models, read_catalog
from hardpan.run.config import Config, NumberSettings
from hardpan.run.shipped_tables import read_table, replaced_numbers, tables_with


def config(**tables):
    base = {"paddock": {"name": "made", "boundary": Path("b")}, "probes": {"file": Path("p")}}
    return parse(Config, {**base, **tables}, file="paddock.toml")


def catalog(**tables):
    return read_catalog(config(**tables))


def leaves(table, *keys):
    """Every shipped number with the keys that lead to it."""
    if isinstance(table, dict):
        if "value" in table and "unit" in table:
            yield keys, table
        else:
            for key, inner in table.items():
                yield from leaves(inner, *keys, key)
    elif isinstance(table, list) and table and isinstance(table[0], dict):
        yield keys, table


SHIPPED = [(name, keys, leaf) for name in NumberSettings.model_fields for keys, leaf in leaves(read_table(name), name)]


def nested(keys, leaf):
    return {keys[0]: leaf} if len(keys) == 1 else {keys[0]: nested(keys[1:], leaf)}


def test_every_shipped_number_can_be_replaced_by_its_key():
    """133 of 288 had no way in; each is moved by a thousandth, one at a time, and only that is told as replaced."""
    assert len(SHIPPED) > 288
    for name, keys, leaf in SHIPPED:
        one = isinstance(leaf, dict)
        own = leaf["value"] * 1.001 + 1e-6 if one else [number["value"] + 1e-6 for number in leaf]
        tables = tables_with(NumberSettings(**nested(keys, own)))
        found = list(replaced_numbers(read_table(name), tables[name], name))
        told = [".".join(keys)] if one else [f"{'.'.join(keys)}.{place}" for place in range(1, len(leaf) + 1)]
        assert [each.key for each in found] == told
        assert all(each.own.source == "user" for each in found)


@pytest.mark.parametrize(
    ("numbers", "read"),
    [
        ({"crops": {"wheat": {"gain_factor": 0.9}}}, lambda found: found.crop.gain_factor),
        ({"effort": {"usable_power": 0.8}}, lambda found: found.effort.usable_power),
        ({"effort": {"rows": {"narrow": {"a": 200}}}}, lambda found: found.effort.rows["narrow"].a),
        ({"response": {"reference": {"depth": "22 in"}}}, lambda found: found.response.reference.depth),
        ({"rippers": {"seven-tine-600": {"max_depth": 600}}}, lambda found: found.ripper.max_depth),
        ({"rules": {"stranded lime": {"gain": {"inclusion": 1.1}}}}, lambda found: found.rules[1].gain["inclusion"]),
        ({"setups": {"winged": {"foot_width": "14 in"}}}, lambda found: found.setups["winged"].foot_width),
        ({"soils": {"deep sand": {"seasons": 4}}}, lambda found: found.soils["deep sand"].seasons),
        ({"tractors": {"tracked-370kw": {"mass": "24 t"}}}, lambda found: found.tractor.mass),
        ({"water": {"sand": 0.7}}, lambda found: found.available_water["sand"]),
        ({"prices": {"common_gain": 0.3}}, lambda found: found.prices.common_gain),
    ],
)
def test_a_number_of_any_table_reaches_the_catalog_and_is_told(numbers, read):
    found, before = catalog(numbers=numbers), catalog()
    (told,) = found.replaced
    assert told.own == read(found) != read(before) == told.shipped
    assert before.replaced == ()


def test_a_coefficient_of_a_moisture_model_can_be_replaced():
    numbers = {"moisture": {"busscher-leao": {"theta_exponent": {"intercept": -1.5}}}}
    models = moisture_models(config(numbers=numbers))
    assert models["busscher-leao"].theta_exponent.intercept.value == -1.5


def test_machines_and_set_ups_keep_relative_ranges_too():
    wide = catalog(machine={"setups": {"mine": {"like": "winged", "says": "wide", "foot_width": 360}}}).setups["mine"]
    assert wide.foot_width.span == pytest.approx((152 * 1.2, 406 * 1.2))
    tractor = catalog(machine={"tractor": {"like": "tracked-370kw", "list_price": 300000}}).tractor
    assert tractor.list_price.span == pytest.approx((300000 * 560 / 650, 300000 * 730 / 650))


def test_what_was_replaced_is_told_whichever_way_it_was_given():
    machine = {
        "tractor": {"like": "tracked-370kw", "engine_power": 400},
        "ripper": {"like": "seven-tine-600", "tines": 5},
    }
    found = catalog(machine=machine, soil={"types": {"deep sand": {"seasons": 4}}}, prices={"fuel_per_l": 1.6},
                    numbers={"rules": {"gravel": {"when": {"gravel_pct": [40.0, 100.0]}}}})  # fmt: skip
    assert [one.key for one in found.replaced] == [
        "prices.fuel_per_l",
        "rippers.own ripper.tines",
        "rules.gravel.when.gravel_pct.1",
        "soils.deep sand.seasons",
        "tractors.own tractor.engine_power",
    ]
    assert found.replaced[2].own == 40.0


@pytest.mark.parametrize(
    ("numbers", "says"),
    [
        ({"effect": {}}, "did you mean 'effort'?"),
        (
            {"effort": {"slip": {"trak": 1}}},
            "[numbers.effort.slip]: key 'trak' is not known; expected one of track, 4wd",
        ),
        ({"effort": {"slip": 0.05}}, "[numbers.effort]: slip = 0.05 cannot be used; expected a table with track, 4wd"),
        (
            {"effort": {"wear_depth": "16 psi"}},
            "[numbers.effort]: wear_depth = '16 psi' cannot be used; expected a unit",
        ),
        (
            {"effort": {"usable_power": 1.2}},
            "[numbers.effort]: usable_power = 1.2 cannot be used; expected above 0",
        ),
        ({"setups": {"wingd": {}}}, "[numbers.setups]: entry of setups 'wingd' is not known"),
        ({"setups": {"winged": 3}}, "a table of numbers"),
        ({"setups": {"winged": {"foot_width": "wide"}}}, "expected a number in mm, a text with its unit"),
        (
            {"prices": {"repair": {"ripper": [0.1]}}},
            "[numbers.prices.repair]: ripper = [0.1] cannot be used; expected a list of 2",
        ),
        ({"response": {"season": {"dry_chance": 1}}}, "dry_chance from 0 to below 1"),
        ({"prices": {"fuel_per_l": "1.4 EUR/L"}}, "fuel_per_l is in EUR, but money is in AUD"),
        (
            {"soils": {"deep sand": {"first_year_gain": {"value": 1, "high": 0.5}}}},
            '[numbers.soils."deep sand"] first_year_gain: value 1, high 0.5 cannot be used; expected low <= value',
        ),
    ],
)
def test_what_replaces_no_number_is_said_in_one_plain_line(numbers, says):
    with pytest.raises(SettingsError, match=re.escape(says)) as caught:
        catalog(numbers=numbers)
    assert "\n" not in str(caught.value)


def test_a_number_given_twice_is_refused():
    with pytest.raises(
        SettingsError, match=re.escape("[prices]: fuel_per_l stands here and in [numbers]; give it once")
    ):
        catalog(numbers={"prices": {"fuel_per_l": 1.4}}, prices={"fuel_per_l": 2})
