"""What is said of pan, map, moisture, soil and setting up: from records, metric and US."""

import math
from dataclasses import replace

import pandas as pd
import pytest

from hardpan.records.advice import (
    Condition,
    CountReason,
    Known,
    MapVerdict,
    Met,
    Spread,
    Step,
    Topic,
    Verdict,
)
from hardpan.records.pan import Seen
from hardpan.records.quantity import Quantity


def plain(text):
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize("seen", Seen)
def test_every_insertion_says_what_it_saw_in_one_sentence(files, us, seen):
    row = {
        "seen": seen,
        "top_mm": 210.0,
        "bottom_mm": 380.0,
        "reached_mm": 455.0,
        "layer_mm": 620.0,
        "next_mm": math.nan,
    }
    said = files.ground.seen(row)
    assert said.endswith(".")
    assert "nan" not in said
    assert "mm" not in us.ground.seen(row)


def test_an_insertion_that_turns_hard_again_says_where(files, metric):
    row = {
        "seen": "closed",
        "top_mm": 210.4,
        "bottom_mm": 380.0,
        "reached_mm": 600.0,
        "layer_mm": 210.0,
        "next_mm": 450.0,
    }
    assert files.ground.seen(row) == "Hard from 210 to 380 mm, soft below; hard again from 450 mm."
    assert plain(metric.ground.seen(row)) == "Hard from 21 to 38 cm, soft below; hard again from 45 cm."


VERDICT = MapVerdict(yardstick="soil-type mean", gain=0.29, better=True, sd_mm=20.1, asked_mm=30.0)


def test_the_map_is_held_against_yardsticks_and_what_was_asked_for(files, us):
    assert files.ground.map_verdict(VERDICT) == (
        "The map of the pan's bottom forecasts a site left out 29 % better than the best plain yardstick (soil-type "
        "mean). Its standard deviation is 20 mm over the paddock, within the 30 mm asked for."
    )
    level = MapVerdict(
        yardstick="inverse distance", gain=0.01, better=False, sd_mm=50.8, asked_mm=25.4, more_sites=7, reached_mm=25.0
    )
    assert plain(us.ground.map_verdict(level)) == (
        "The map of the pan's bottom is no better than a plain yardstick (inverse distance) at a site left out. Its "
        "standard deviation is 2 in over the paddock; about 7 more sites would bring it to 1 in."
    )
    assert "nothing to map but its absence" in files.ground.map_verdict(None)


def test_the_verdict_says_where_depth_is_not_known(files):
    told = files.ground.map_verdict(replace(VERDICT, unread_share=0.62, deepest_mm=400.0))
    assert told.startswith(files.ground.map_verdict(VERDICT))
    assert "Over 62 % of the paddock it goes deeper than 400 mm, the deepest reading in a pan" in told
    assert "not known" in told


def test_more_sites_that_are_not_enough_are_said_not_to_be(files):
    short = MapVerdict(
        yardstick="inverse distance", gain=0.1, better=True, sd_mm=50.0, asked_mm=10.0, more_sites=300, reached_mm=22.0
    )
    assert files.ground.map_verdict(short).endswith("300 more sites would bring 22 mm, not the 10 mm asked for.")


MODEL = {
    "family": "matern52", "identified": True, "sill": 900.0, "micro": 100.0, "range_m": 400.0, "ratio": 0.25,
    "heading_deg": 30.0, "short_share": 0.2, "short_range_m": 80.0,
}  # fmt: skip


def test_a_model_says_how_far_and_along_which_way_ground_is_alike(files, us):
    """A range of 400 m along and 100 m across is 200 m in the geometric mean."""
    assert files.ground.model(MODEL) == (
        "90 % of the field's variance fades over 200 m, the rest within a site; 4.0 times farther along 30° than across"
        "; 20 % of it within 40 m"
    )
    assert "fades over 656 ft" in plain(us.ground.model(MODEL))
    assert "soil type" in files.ground.model(MODEL | {"family": "none"})
    assert "not identified" in files.ground.model(MODEL | {"identified": False})


COUNT = CountReason(
    classes=3, net_gain=7770.6, given=False, further_loss=12.4, zone_cost=20.0, least_ha=0.5, least_m=25.0
)


def test_the_number_of_classes_is_told_with_what_one_more_would_cost(files, us):
    assert files.ground.count(COUNT) == (
        "3 classes are expected to be worth 7,771 more than one depth everywhere; a further one would lower that by 12 "
        "(it costs 20 in setting and turning). Pieces are at least 0.50 ha and 25 m across."
    )
    assert plain(us.ground.count(COUNT)).endswith("Pieces are at least 1.24 ac and 82 ft across.")
    one = CountReason(classes=1, net_gain=0.0, given=True, least_ha=0.5, least_m=25.0)
    assert files.ground.count(one).startswith("1 class is expected to be worth 0 more than one depth everywhere; the n")


def test_a_number_that_was_set_is_told_with_the_zones_that_became_one(files):
    set_to_eight = CountReason(classes=8, net_gain=7770.6, given=True, joined=2, least_ha=0.5, least_m=25.0)
    told = files.ground.count(set_to_eight)
    assert told.startswith("8 classes are")
    assert told.endswith("2 zones are worked as the ground beside, on the same soil type, and one zone with it.")
    assert "1 zone is worked as" in files.ground.count(replace(set_to_eight, joined=1))
    assert "worked as" not in files.ground.count(replace(set_to_eight, joined=0))


def moisture(verdict, known, **numbers):
    row = {"depth_mm": 450.0, "moist_depth_mm": math.nan, "rain_needed_mm": math.nan, "rain_mm": math.nan}
    return row | {"verdict": verdict, "known": known} | numbers


@pytest.mark.parametrize(
    ("row", "said", "to_us"),
    [
        (
            moisture(Verdict.READY, Known.DUG, moist_depth_mm=500.0),
            "moist to 500 mm (dug or probed); still roll soil from the working depth: a 3 mm roll means too wet",
            "moist to 19.7 in (dug or probed); still roll soil from the working depth: a 1/8 in roll means too wet",
        ),
        (
            moisture(Verdict.WAIT, Known.RAIN, moist_depth_mm=300.0, rain_needed_mm=9.3, rain_mm=18.6),
            "moist to 300 mm (reckoned from 18.6 mm of rain without evaporation, so at best) of 450 mm: about 9 mm "
            "more rain, more where it dries; dry soil below pulls harder and comes up in clods",
            "moist to 11.8 in (reckoned from 0.7 in of rain without evaporation, so at best) of 17.7 in: about 0.4 in "
            "more rain, more where it dries",
        ),
        (moisture(Verdict.TOO_WET, Known.HAND_TEST), "the hand test at working depth says too wet", "the hand test"),
        (moisture(Verdict.UNKNOWN, Known.NOT_GIVEN), "no moisture was given", "no moisture was given"),
        (moisture(Verdict.UNKNOWN, Known.REPELLENT), "rain wets a repellent topsoil unevenly", "rain wets"),
        (moisture(Verdict.NOT_RIPPED, Known.NOT_RIPPED), "nothing is ripped here", "nothing is ripped here"),
    ],
)
def test_a_verdict_on_moisture_says_why(files, us, row, said, to_us):
    assert files.ground.moisture(row).startswith(said)
    assert plain(us.ground.moisture(row)).startswith(to_us)


def test_a_display_in_centimetres_leaves_rain_in_millimetres(metric):
    row = moisture(Verdict.WAIT, Known.DUG, moist_depth_mm=300.0, rain_needed_mm=9.3)
    assert plain(metric.ground.moisture(row)).startswith(
        "moist to 30 cm (dug or probed) of 45 cm: about 9 mm more rain"
    )


LIME = Condition(
    zone=1, met=Met.YES, constraint="stranded lime", known={"ph_0_100": 5.6, "ph_subsoil": 4.5}, cores=2,
    spread=Spread(item="lime", soil_type="deep sand", rate=None, ripped=True),
)  # fmt: skip


def test_a_rule_that_is_met_is_told_with_its_evidence(files, metric, us):
    assert files.ground.met(LIME) == (
        "yes: pH (CaCl2) at least 5.5 in 0-100 mm and below 4.8 beneath: the lime has not moved down "
        "(pH in 0-100 mm 5.6, lowest pH in 100-300 mm 4.5, 2 cores in the zone)"
    )
    assert "(pH in 0-10 cm 5.6, lowest pH in 10-30 cm 4.5" in plain(metric.ground.met(LIME))
    assert "at least 5.5 in 0-3.9 in and below" in plain(us.ground.met(LIME))


def test_a_rule_whose_fact_is_missing_says_what_to_measure(files):
    missing = Condition(zone=1, met=Met.UNKNOWN, constraint="stranded lime", missing=("ph_subsoil",), cores=0)
    assert files.ground.met(missing).startswith("not known: pH (CaCl2)")
    assert files.ground.met(missing).endswith("(no core)")
    assert files.ground.advice(missing) == "Measure pH in 100-300 mm to know."


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("clay_depth_mm", 490.0, "depth to clay 490 mm"),
        ("clay_depth_mm", math.inf, "no clay in reach"),
        ("repellence_med", 1.85, "MED 1.85 mol/L"),
        ("gravel_pct", 45.0, "gravel 45 %"),
        ("pan_probability", 0.9, "chance of a pan 90 %"),
        ("sowing_depth_mm", 25.0, "sowing depth 25 mm"),
    ],
)
def test_facts_are_told_with_their_unit(files, name, value, said):
    condition = Condition(zone=1, met=Met.YES, constraint="sodic clay", known={name: value})
    assert files.ground.met(condition) == f"yes: exchangeable sodium above 6 % ({said})"


def test_cores_of_the_soil_type_are_told_from_those_in_the_zone(files):
    one = Condition(zone=1, met=Met.YES, constraint="gravel", known={"gravel_pct": 45.0}, cores=1, cores_of="loam")
    assert files.ground.met(one).endswith("(gravel 45 %, 1 core of loam)")


def test_the_cab_is_not_told_what_is_settled_at_the_desk(files):
    desk, cab = files.ground.advice(LIME), files.ground.advice(LIME, cab=True)
    assert desk.startswith(cab)
    assert 'give it as soil.types."deep sand".lime.' in desk
    assert "soil.types" not in cab


def test_a_rate_is_told_in_the_readers_unit(files, us):
    rate = Quantity(value=2.5, low=2.0, high=3.0, unit="t/ha", source="user")
    given = Condition(zone=1, met=Met.YES, spread=Spread(item="lime", soil_type="loam", rate=rate, ripped=True))
    assert files.ground.met(given) == "yes: the soil type has a rate"
    assert files.ground.constraint(given) == "lime"
    assert files.ground.advice(given) == "Spread 2.5 t/ha (2.0 to 3.0) of lime before ripping (the rate you gave)."
    assert plain(us.ground.advice(given)).startswith("Spread 2,230 lb/ac (1,784 to 2,677) of lime before ripping")


STEPS = [
    (
        Step(topic=Topic.BALLAST, source="x", figures={"mass_kg": 25000.0, "pto_hp": 446.6, "low": 45.0, "high": 70.0}),
        "25,000 kg on 447 PTO horsepower is 56 kg a horsepower, within the usual 45 to 70 kg.",
        "55,116 lb on 447 PTO horsepower is 123 lb a horsepower, within the usual 99 to 154 lb.",
    ),
    (Step(topic=Topic.BALLAST, source="x"), "No usual weight is on file", "No usual weight is on file"),
    (
        Step(topic=Topic.BALANCE, source="x", figures={"low": 0.45, "high": 0.55}),
        "With the ripper in the ground 45 to 55 % of the weight sits at the front.",
        "With the ripper in the ground 45 to",
    ),
    (
        Step(topic=Topic.SLIP, source="x", figures={"slip": 0.05, "zone": 8.0, "usual": 0.08}),
        "Expect up to 5 % slip, in zone 8; above 8 % slow down, add weight or go shallower.",
        "Expect up to 5 % slip",
    ),
    (Step(topic=Topic.LEVEL, source="x"), "Level the frame lengthwise and across", "Level the frame"),
    (
        Step(
            topic=Topic.LEADING, source="x", figures={"share": 0.5, "low_mm": 210.0, "high_mm": 240.0}, setup="leading"
        ),
        "Run them in line at 50 % of the working depth, 210 to 240 mm.",
        "Run them in line at 50 % of the working depth, 8.3 to 9.4 in.",
    ),
    (
        Step(topic=Topic.DIG, source="x", figures={"ridge_mm": 130.0}, setup="winged"),
        "Dig across two tine lines after the first run: expect a ridge of unbroken soil, about 130 mm high",
        "Dig across two tine lines after the first run: expect a ridge of unbroken soil, about 5.1 in high",
    ),
]


@pytest.mark.parametrize(("step", "said", "to_us"), STEPS)
def test_how_to_set_up_is_told_by_topic(files, us, step, said, to_us):
    topic, advice = files.ground.step(step)
    assert advice.startswith(said)
    assert plain(us.ground.step(step)[1]).startswith(to_us)
    assert topic == ("dig behind the winged tines" if step.topic is Topic.DIG else step.topic)


@pytest.mark.parametrize("setup", ["plain", "winged", "leading", "inclusion", "mixing", "delving"])
def test_advice_in_a_zone_names_no_set_up_but_its_own(files, shipped, setup):
    """Words of the trade for the fittings; what another pass could do is no advice on this one."""
    named = {"inclusion": "plates", "mixing": "mixing tines", "leading": "leading tines", "winged": "wings"}
    others = [word for key, word in named.items() if key != setup]
    for rule in shipped.rules:
        for cab in (False, True):
            said = files.ground.advice(Condition(zone=1, met=Met.YES, constraint=rule.constraint, setup=setup), cab=cab)
            assert not [word for word in others if word in said.lower()], said


def test_advice_for_a_set_up_is_given_where_the_zone_is_worked_with_it(files):
    lime = Condition(zone=1, met=Met.YES, constraint="stranded lime", setup="inclusion")
    assert "Set the plates at the depth of the limed topsoil" in files.ground.advice(lime)
    assert "plates" not in files.ground.advice(replace(lime, setup="leading"))


def test_the_draft_of_the_standard_is_told_beside_ours(files, us):
    machine = pd.DataFrame({"zone": [3, 8], "equation_kn": [40.0, 61.0], "draft_kn": [70.0, 121.5]})
    said = files.ground.draft(machine)
    assert "with the power 2 of depth from 300 mm, the power 0.5 of the pan's peak over 3.5 MPa" in said
    assert said.endswith("In zone 8 the equation gives 61 kN, this plan counts 122 kN.")
    assert "lbf" in us.ground.draft(machine)
    assert files.ground.draft(machine.iloc[:0]) == ""
