"""Quantities in the units people use, by the factors of [nist811] (exact or to the digits published there)."""

import pytest

from hardpan.outputs.people import MISSING, People, number, share
from hardpan.outputs.settings import OutputSettings

METRIC = People.of(OutputSettings(), "AUD")
US = People.of(OutputSettings(units="us"), "USD")


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (US.depth(25.4), "1 in"),
        (US.depth(381.0), "15 in"),
        (US.area(0.40468564 * 100), "100.0 ac"),
        (US.fuel(3.785412 * 500), "500 gal"),
        (US.power(0.7456999 * 400), "400 hp"),
        (US.speed(1.609344 * 4), "4.0 mph"),
        (US.strength(6.894757 * 300), "300 psi"),
        (US.width(0.3048 * 20), "20.0 ft"),
        (US.per_area(100.0 / 0.40468564), "100 $/ac"),
        (METRIC.depth(375), "37.5 cm"),
        (METRIC.depth(300), "30 cm"),
        (METRIC.area(12.34), "12.3 ha"),
        (METRIC.money(-1234.4), "−1,234 $"),
        (METRIC.strength(2500), "2.5 MPa"),
    ],
)
def test_a_quantity_is_said_with_its_unit(said, shown):
    assert said == shown.replace(" ", "\u00a0")


def test_absence_is_said_as_absence():
    assert METRIC.depth(float("nan")) == MISSING
    assert METRIC.span(float("nan"), 3.0) == MISSING
    assert number(float("nan")) == MISSING


def test_us_readers_get_inches_on_the_display_unless_they_ask_otherwise():
    assert OutputSettings(units="us").depth_unit == "in"
    assert OutputSettings(units="us", display_unit="cm").depth_unit == "cm"
    assert OutputSettings().depth_unit == "cm"


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("Rip 96 of 124 ha", "Rip 237 of 306 ac"),
        ("three depths (300, 375 and 450 mm), leave", "three depths (11.8, 14.8 and 17.7 in), leave"),
        ("about 61 $/ha, 5 days and 2,900 L;", "about 25 $/ac, 5 days and 766 gal;"),
        (
            "return 148 $/ha over three seasons (likely range -40 to 260, chance of a loss 9 %)",
            "return 60 $/ac over three seasons (likely range -16 to 105, chance of a loss 9 %)",
        ),
        ("the pan ends at 470 mm (likely 415 to 520), and", "the pan ends at 18.5 in (likely 16.3 to 20.5), and"),
        ("zone 3 of 7 at 2,500 kPa", "zone 3 of 7 at 363 psi"),
        ("would cost about 139 AUD/ha and bring 129.", "would cost about 56 AUD/ac and bring 52."),
        ("would cost about 139 $/ha and bring 129 $/ha.", "would cost about 56 $/ac and bring 52 $/ac."),
        ("a first-season gain below 0.34 t/ha would", "a first-season gain below 303 lb/ac would"),
        ("spread 1,500 kg/ha of lime", "spread 1,338 lb/ac of lime"),
        ("about 35 L/ha of fuel", "about 3.7 gal/ac of fuel"),
        ("moist to 300 mm of 450 mm: about 51 mm more rain", "moist to 11.8 in of 17.7 in: about 2 in more rain"),
        ("nothing to change, 3 seasons", "nothing to change, 3 seasons"),
    ],
)
def test_a_sentence_is_restated_in_us_units(metric, us):
    assert US.text(metric) == us
    assert People.of(OutputSettings(display_unit="mm"), "USD").text(metric) == metric


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("three depths (300, 375 and 450 mm), leave", "three depths (30, 37.5 and 45 cm), leave"),
        ("the pan ends at 470 mm (likely 415 to 520), and", "the pan ends at 47 cm (likely 41.5 to 52), and"),
        (
            "moist to 300 mm (dug) of 450 mm: about 12 mm more rain",
            "moist to 30 cm (dug) of 45 cm: about 12 mm more rain",
        ),
        ("reckoned from 120 mm of rain", "reckoned from 120 mm of rain"),
        ("a 3 mm roll means too wet", "a 3 mm roll means too wet"),
        ("pH 0-100 mm", "pH 0-10 cm"),
    ],
)
def test_depths_are_said_in_the_unit_of_the_display_and_rain_is_not(written, shown):
    assert METRIC.text(written) == shown
    assert People.of(OutputSettings(display_unit="mm"), "AUD").text(written) == written
    assert " cm" not in People.of(OutputSettings(display_unit="in"), "AUD").text(written)


def test_money_carries_the_sign_of_its_currency_and_is_named_once():
    assert (METRIC.sign, METRIC.money_name) == ("$", "AUD ($)")
    rand = People.of(OutputSettings(), "ZAR")
    assert (rand.sign, rand.money_name) == ("ZAR", "ZAR")


def test_shares_are_per_cent():
    assert share(0.093) == "9\u00a0%"
