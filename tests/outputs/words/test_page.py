"""What report, card, map and terminal say around the figures, metric and US."""

import math

import pandas as pd
import pytest

from hardpan.core.said import Amount, Measure
from hardpan.outputs.words.interface import Driven
from hardpan.records.plan import Strips


def plain(text):
    return text.replace("\u00a0", " ")


def test_the_driver_is_told_what_the_machine_will_do_without_a_position(files, us):
    assert "tells the machine to lift the tines, as services may be buried near. Stop" in files.page.lost(
        0, buried=True
    )
    assert "tells the machine to lift the tines. Stop" in files.page.lost(0, buried=False)
    assert "to go to 300 mm, the shallowest depth of the plan. Stop" in files.page.lost(300, buried=True)
    assert "to go to 11.8 in, the shallowest" in plain(us.page.lost(300, buried=False))
    assert files.page.lost(None, buried=True).endswith("lift the tines and stop, whatever the display shows.")


def checks_of(words, deepest_mm):
    return words.page.checks(deepest_mm, "stop.", lift_m=20.0, change_m=5.0)


def test_the_operator_is_told_how_far_the_tines_take_to_rise(metric, us):
    told, to_us = (" ".join(checks_of(words, 450.0)["While ripping"]) for words in (metric, us))
    assert "the tines take 20 m to rise out" in plain(told)
    assert "take up to 5 m to settle" in plain(told)
    assert "the tines take 66 ft to rise out" in plain(to_us)


def test_the_hand_test_is_told_in_the_readers_unit(metric, us):
    check, to_us = (checks_of(words, 450.0)["Before you start"][1] for words in (metric, us))
    assert plain(check).startswith("Moisture: dig to 45 cm and roll the soil by hand. A 3 mm thread forms easily")
    assert "It cracks at 3 to 5 mm: right." in plain(check)
    assert "A 1/8 in thread forms easily: too wet, wait. It cracks at 1/8 to 3/16 in: right." in plain(to_us)
    assert "dig to – and" in checks_of(metric, math.nan)["Before you start"][1]


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (lambda page: page.insertions(24, 12, few=False), "24 insertions at 12 sites carry the map."),
        (lambda page: page.insertions(4, 2, few=True), "4 insertions at 2 sites carry the map: that is few."),
        (
            lambda page: page.thresholds([(1.0, 1500.0, 24.0), (0.9, 2500.0, 21.6)]),
            "The threshold matters: of the insertions a pan is found in 100 % at 1.5 MPa (about 24 ha), 90 % at 2.5"
            " MPa (about 22 ha).",
        ),
        (lambda page: page.unverified(1), "One number behind the decision could not be checked against a source;"),
        (
            lambda page: page.losing([(3, 0.4), (5, 0.31)]),
            "May well not pay back: zone 3 (chance of a loss 40 %), zone 5",
        ),
        (lambda page: page.depth_map([(300.0, 8.6)], 2.0), "8.6 ha at 30 cm; 2.0 ha left alone."),
        (lambda page: page.depth_map([], 24.0), "Nothing to rip; 24.0 ha left alone."),
        (
            lambda page: page.zone_title(5, 450.0, "winged tines", 15.4, "sand"),
            "Zone 5: 45 cm, winged tines, 15.4 ha, s",
        ),
        (lambda page: page.zone_title(1, 0.0, "", 9.5, "sand"), "Zone 1: leave unripped, 9.5 ha, sand"),
        (lambda page: page.tap(1, 0.0, "", 9.5, "Leave it."), "Zone 1: leave unripped, –, 9.5 ha. Leave it."),
        (lambda page: page.beside("400 mm with wings", 7.2), "Next best: 400 mm with wings, 7 $/ha worse."),
        (lambda page: page.beside("400 mm with wings", -7.2), "Next best: 400 mm with wings, 7 $/ha better."),
        (lambda page: page.beside("400 mm with wings", math.nan), "Next best: 400 mm with wings."),
        (lambda page: page.change("a test strip"), "What would change this: a test strip."),
        (lambda page: page.zones([3]), "(zone 3)"),
        (lambda page: page.zones([3, 4]), "(zones 3, 4)"),
        (
            lambda page: page.ready(24, 12, 24.04, "UTM", 3),
            "24 insertions at 12 sites, 24.0 ha, UTM: 3 remarks, ready to",
        ),
        (lambda page: page.dates([]), "No date is known for the readings"),
        (lambda page: page.dates(["2026-05-01"]), "The readings were taken on 2026-05-01: soil reads harder when dry"),
        (lambda page: page.stopped(4, 24), "4 of 24 insertions did not see the pan's bottom"),
        (lambda page: page.depth_note(), "Depths are in centimetres, as on the display"),
        (
            lambda page: page.label("dates", depth=Amount(300.0, Measure.DEPTH), unit="kPa"),
            "Readings by date; mean cone i",
        ),
    ],
)
def test_what_is_said_of_the_run_as_a_whole(metric, said, shown):
    assert plain(said(metric.page)).startswith(shown)


def test_the_work_in_a_zone_is_told_in_the_readers_units(metric, us):
    zone = {"passes": 1, "speed_kmh": 5.5, "spacing_mm": 600.0, "breach_probability": 0.93, "loosened_share": 0.8,
            "loss_probability": 0.02}  # fmt: skip
    assert plain(metric.page.work(zone, 5.2, 172.0, Driven(runs=40, run_m=250.0, headland_ha=1.3))) == (
        "1 pass at 5.5 km/h, tines 600 mm apart; 40 runs of 250 m on average and 1.3 ha of headland in laps; 5.2 h, "
        "172 L; chance of getting below the pan 93 %, share of the pan broken 80 %, chance of a loss 2 %."
    )
    assert plain(
        us.page.work(zone | {"passes": 2}, 5.2, 172.0, Driven(runs=1, run_m=100.0, headland_ha=0.0))
    ).startswith("2 passes at 3.4 mph, tines 24 in apart; 1 run of 328 ft on average; 5.2 h, 45 gal;")


def test_check_strips_are_told_without_the_hectares_that_stand_in_the_table_of_zones(us):
    table = pd.DataFrame({"treatment": ["unripped"] * 2, "width_m": 16.8, "length_m": 150.0, "area_ha": 1.513})
    promise = pd.DataFrame({"zone": ["all"], "pairs": [2], "strip_cv": 0.06, "level": 0.9, "power": 0.8})
    strips = Strips(table=table, promise=promise.assign(difference=0.1), harvester_width_m=12.0, position_error_m=0.1)
    told = plain(us.page.strips(strips))
    assert told.startswith("2 check strips, 55 ft wide and 492 ft long, are left unripped")
    assert " ac" not in told
