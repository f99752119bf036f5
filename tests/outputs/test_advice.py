"""What the plan says, each sentence once with its zones."""

import pandas as pd

from hardpan.outputs.advice import plan_advice, set_up_advice
from hardpan.outputs.people import People
from hardpan.outputs.settings import OutputSettings

METRIC = People.of(OutputSettings(), "AUD")
NOTHING = pd.DataFrame({"zone": [], "met": [], "rollers": [], "advice": []}, dtype=str)


def told(moisture, people=METRIC, depths=(300, 450, 0)):
    zones = pd.DataFrame({"zone": [1, 2, 3], "depth_mm": depths})
    columns = ["zone", "verdict", "moist_depth_mm", "rain_needed_mm", "why"]
    return [
        line.replace("\u00a0", " ")
        for line in plan_advice(zones, pd.DataFrame(moisture, columns=columns), NOTHING, people)
    ]


def test_zones_that_wait_for_different_rain_make_one_line():
    waiting = [
        (1, "wait", 250.0, 4.0, "moist to 250 mm (dug) of 300 mm: about 4 mm more rain"),
        (2, "wait", 250.0, 16.0, "moist to 250 mm (dug) of 450 mm: about 16 mm more rain"),
    ]
    assert told(waiting) == ["Moisture: wait; moist to 25 cm; about 4 mm to 16 mm more rain (zones 1, 2)."]
    us = People.of(OutputSettings(units="us"), "USD")
    assert told(waiting, us) == ["Moisture: wait; moist to 9.8 in; about 0.2 in to 0.6 in more rain (zones 1, 2)."]


def test_zones_with_the_same_reason_share_it():
    ready = [(zone, "ready", 700.0, 0.0, "moist to 700 mm (dug).") for zone in (1, 2)]
    assert told(ready) == ["Moisture: ready; moist to 70 cm (dug) (zones 1, 2)."]


def test_reasons_why_moisture_is_not_known_stay_apart():
    unknown = [(1, "not known", None, None, "none given"), (2, "not known", None, None, "repellent")]
    assert told(unknown) == ["Moisture: not known; none given (zone 1).", "Moisture: not known; repellent (zone 2)."]


def test_an_entry_of_the_configuration_is_nothing_for_the_cab():
    advice = 'Stay above the clay. No gypsum is priced: give it as soil.types."sand".gypsum.'
    met = pd.DataFrame({"zone": [1, 2], "met": "yes: sodic", "rollers": "", "advice": [advice, "Stay above the clay."]})
    zones = pd.DataFrame({"zone": [1, 2], "depth_mm": [300, 300]})
    dry = pd.DataFrame({"zone": [], "verdict": [], "why": [], "moist_depth_mm": [], "rain_needed_mm": []})
    assert plan_advice(zones, dry, met, METRIC) == ["Stay above the clay (zones 1, 2)."]


def test_how_to_set_up_is_told_by_topic():
    table = pd.DataFrame({"topic": ["leading tines"], "advice": ["Run them at 50%, 210 to 240 mm."], "source": ["x"]})
    assert set_up_advice(table, METRIC) == ["Leading tines: Run them at 50%, 21 to 24 cm."]
    assert set_up_advice(pd.DataFrame(), METRIC) == []


def test_ground_left_alone_is_not_spoken_of():
    assert told([(3, "ready", 700.0, 0.0, "moist")]) == []
