"""Quantities in the units people use, by the factors of [nist811] (exact or to the digits published there)."""

from dataclasses import replace

import pytest

from hardpan.core.said import INSIDE, Amount, Measure, Said, depth, per_ha, strength
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.units import MISSING, Units

METRIC = Units.of(OutputSettings(), "AUD")
US = Units.of(OutputSettings(units="us"), "USD")
FILES = Units.of_files("AUD")


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (US.depth(25.4), "1 in"),
        (US.depth(381.0), "15 in"),
        (US.area(0.40468564 * 100), "100.0 ac"),
        (US.fuel(3.785412 * 500), "500 gal"),
        (US.write(0.7456999 * 400, Measure.POWER), "400 hp"),
        (US.write(4.4482216 * 5, Measure.FORCE), "5,000 lbf"),
        (US.write(0.4535924 * 300, Measure.MASS), "300 lb"),
        (US.speed(1.609344 * 4), "4.0 mph"),
        (US.strength(6.894757 * 300), "300 psi"),
        (US.write(0.3048 * 20, Measure.DISTANCE), "20 ft"),
        (US.per_area(100.0 / 0.40468564), "100 $/ac"),
        (US.write(1.0, Measure.YIELD, 2), "892 lb/ac"),
        (US.thread(3), "1/8 in"),
        (METRIC.depth(375), "37.5 cm"),
        (METRIC.depth(300), "30 cm"),
        (METRIC.area(12.34), "12.3 ha"),
        (METRIC.money(-1234.4), "−1,234 $"),
        (METRIC.strength(2500), "2.5 MPa"),
        (METRIC.thread(3), "3 mm"),
        (METRIC.depths(300, 300), "30 cm"),
        (METRIC.depths(300, 450), "30 to 45 cm"),
        (METRIC.rounded(314.5, Measure.POWER), "314 kW"),
        (METRIC.rounded(18.7, Measure.POWER), "18.7 kW"),
    ],
)
def test_a_quantity_is_said_with_its_unit(said, shown):
    assert said == shown.replace(" ", "\u00a0").replace("\u00a0to\u00a0", " to ")


def test_absence_is_said_as_absence():
    assert METRIC.depth(float("nan")) == MISSING
    assert METRIC.span(float("nan"), 3.0) == MISSING
    assert METRIC.cell(float("nan")) == MISSING
    assert METRIC.rounded(float("nan"), Measure.POWER) == MISSING


def test_us_readers_get_inches_on_the_display_unless_they_ask_otherwise():
    us = OutputSettings(units="us")
    assert us.display_unit == "in"
    assert OutputSettings(**us.model_dump()).display_unit == "in"  # as run.json is read back
    assert OutputSettings(units="us", display_unit="cm").display_unit == "cm"
    assert OutputSettings().display_unit == "cm"


def test_files_and_terminals_have_only_characters_of_a_keyboard():
    assert FILES.money(-1234.4) == "-1,234 $"
    assert FILES.depth(425) == "425 mm"
    assert Units.of_terminal(OutputSettings(), "AUD") == FILES
    assert Units.of_terminal(OutputSettings(units="us"), "USD").depth(381.0) == "15 in"


def test_tables_keep_the_units_of_the_computation_unless_the_reader_is_used_to_us_units():
    assert METRIC.of_tables.depth_unit == "mm"
    assert US.of_tables == US


SAID = Said(
    "moist to {moist} ({by}) of {depth}: {rain} more, at {low} to {high}, {kpa}",
    moist=depth(300, bare=True),
    by="dug",
    depth=depth(450),
    rain=Amount(50.8, Measure.RAIN, 1),
    low=per_ha(100.0, "$", bare=True),
    high=per_ha(200.0, "$"),
    kpa=strength(2500, None),
)


def test_a_sentence_that_remembers_its_quantities_is_told_in_any_units():
    assert SAID == "moist to 300 (dug) of 450 mm: 50.8 mm more, at 100 to 200 $/ha, 2500 kPa"
    assert METRIC.say(SAID).replace("\u00a0", " ") == (
        "moist to 30 (dug) of 45 cm: 50.8 mm more, at 100 to 200 $/ha, 2,500 kPa"
    )
    assert US.say(SAID).replace("\u00a0", " ") == (
        "moist to 11.8 (dug) of 17.7 in: 2.0 in more, at 40 to 81 $/ac, 363 psi"
    )
    assert FILES.say(SAID) == SAID.replace("2500", "2,500")


def test_text_that_remembers_nothing_is_told_as_it_is():
    assert US.say("a column named depth 300 mm") == "a column named depth 300 mm"


def test_every_measure_has_a_us_unit_of_its_own():
    for measure in Measure:
        assert US.scale(measure).unit != INSIDE[measure]


def test_money_carries_the_sign_of_its_currency_and_is_named_once():
    assert (METRIC.sign, METRIC.money_name) == ("$", "AUD ($)")
    rand = replace(METRIC, currency="ZAR")
    assert (rand.sign, rand.money_name) == ("ZAR", "ZAR")


def test_shares_are_per_cent():
    assert METRIC.share(0.093) == "9\u00a0%"


@pytest.mark.parametrize(
    ("metric", "unit", "told"),
    [
        (2.0, "AUD/L", (7.5708, "AUD/gal")),
        (330.0, "AUD/t", (299.371, "AUD/ton")),
        (2.0, "EUR/L", (7.5708, "EUR/gal")),
        (10.0, "AUD/ha", (4.0469, "AUD/ac")),
        (1.0, "t/ha", (892.179, "lb/ac")),
        (226.0, "N/cm", (129.05, "lbf/in")),
        (1.5, "mm/cm", (1.8, "in/ft")),
        (0.223, "L/kWh of PTO power used", (0.04393, "gal/hp-h of PTO power used")),
        (40.0, "AUD/h", (40.0, "AUD/h")),
        (0.3, "share/season", (0.3, "share/season")),
    ],
)
def test_a_number_with_a_unit_of_its_own_is_told_in_us_units(metric, unit, told):
    """Factors of NIST SP 811, appendix B: gal 3.785412 L, short ton 907.1847 kg, acre 4046.856 m2, lbf 4.448222 N."""
    units = Units.of(OutputSettings(units="us"), "AUD")
    scale = units.of_unit(unit)
    assert (metric / scale.size, scale.unit) == (pytest.approx(told[0], rel=1e-4), told[1])
    assert METRIC.of_unit(unit).unit == unit
