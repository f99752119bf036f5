"""Tables of the records with their sentences; what the plan says in the cab, each sentence once with its zones."""

from dataclasses import replace

import pandas as pd
import pytest

from hardpan.core.said import Said, area
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.told import ZONES, plan_advice, set_up_advice, told_insertions, told_issues, told_zones
from hardpan.outputs.words.units import Units
from hardpan.records.advice import Condition, Met, Spread
from hardpan.records.issues import Issue
from hardpan.records.plan import PLAN

COLUMNS = ["zone", "depth_mm", "verdict", "known", "moist_depth_mm", "rain_needed_mm"]


def test_every_issue_is_a_row_with_file_and_place(files, us):
    what = Said("{area} have no soil polygon", area=area(1.5))
    issue = Issue(stage="survey", code="x", what=what, done="d", file="f.csv", place="row 3")
    row = {"outcome": "warn", "stage": "survey", "code": "x", "file": "f.csv", "place": "row 3", "done": "d"}
    assert told_issues((issue,), files).to_dict("records") == [row | {"what": "1.50 ha have no soil polygon"}]
    assert told_issues((issue,), us).loc[0, "what"] == "3.71\u00a0ac have no soil polygon"
    assert told_issues((), files).empty


def test_an_issue_about_zones_has_them_for_its_place(files):
    issue = Issue(stage="zones", code="x", what="w", done="d")
    told = told_issues((issue, replace(issue, zones=(3,)), replace(issue, zones=(1, 4))), files)
    assert told["place"].tolist() == ["", "zone 3", "zones 1, 4"]


def test_zones_have_the_columns_of_the_plan_and_four_sentences(run):
    words = speak(Units.of_files("AUD"), run.catalog)
    told = told_zones(run.plan, words)
    assert list(told.columns) == list(ZONES)
    assert set(ZONES) - set(PLAN) == {"reason", "runner_up", "will_not_fix", "would_change"}
    assert told["zone"].is_monotonic_increasing
    assert (told["reason"] != "").all()


def test_insertions_say_why_instead_of_a_code(run):
    words = speak(Units.of_files("AUD"), run.catalog)
    told = told_insertions(run.pan, words)
    assert "seen" not in told
    assert told["why"].iloc[0] == "Hard from 180 mm, refused at 350 mm: the bottom is deeper."
    assert told["why"].iloc[-1] == "Hard from 180 to 380 mm, soft below."


@pytest.fixture
def told(catalog):
    def told(moisture=(), conditions=(), *, units="metric", depths=(300, 450, 0)):
        zones = pd.DataFrame({"zone": [1, 2, 3], "depth_mm": depths})
        words = speak(Units.of(OutputSettings(units=units), "AUD"), catalog)
        table = pd.DataFrame(moisture, columns=COLUMNS).assign(rain_mm=float("nan"))
        return [line.replace("\u00a0", " ") for line in plan_advice(zones, table, conditions, catalog, words)]

    return told


WAITING = [(1, 300, "wait", "dug or probed", 250.0, 4.0), (2, 450, "wait", "dug or probed", 250.0, 16.0)]


def test_zones_that_wait_for_different_rain_make_one_line(told):
    assert told(WAITING) == ["Moisture: wait; moist to 25 cm; about 4 mm to 16 mm more rain (zones 1, 2)."]
    us = told(WAITING, units="us")
    assert us == ["Moisture: wait; moist to 9.8 in; about 0.2 in to 0.6 in more rain (zones 1, 2)."]


def test_zones_with_the_same_reason_share_it(told):
    (line,) = told([(zone, 300, "ready", "dug or probed", 700.0, 0.0) for zone in (1, 2)])
    assert line.startswith("Moisture: ready; moist to 70 cm (dug or probed); still roll soil from the working depth")
    assert line.endswith("(zones 1, 2).")


def test_reasons_why_moisture_is_not_known_stay_apart(told):
    unknown = [(1, 300, "not known", "not given", None, None), (2, 300, "not known", "repellent", None, None)]
    given, repellent = told(unknown)
    assert given.startswith("Moisture: not known; no moisture was given")
    assert given.endswith("(zone 1).")
    assert repellent.startswith("Moisture: not known; rain wets a repellent topsoil unevenly")
    assert repellent.endswith("(zone 2).")


def test_what_is_settled_at_the_desk_is_nothing_for_the_cab(told, survey):
    spread = Spread(item="lime", soil_type=survey.soils["soil_type"][0], rate=None, ripped=True)
    asked = [
        Condition(zone=1, met=Met.YES, constraint="acidity", spread=spread),
        Condition(zone=2, met=Met.YES, constraint="acidity"),
        Condition(zone=2, met=Met.UNKNOWN, constraint="acidity", missing=("ph_0_100",)),
    ]
    assert told(conditions=asked) == [
        "Ask the agronomist for a lime rate (zones 1, 2).",
        "Roll behind the tines (zones 1, 2).",
    ]


def test_how_to_set_up_is_told_by_topic(plan, catalog):
    words = speak(Units.of(OutputSettings(), "AUD"), catalog)
    (line,) = set_up_advice(plan.setting_up, words)
    assert line.replace("\u00a0", " ") == "Leading tines: Run them in line at 60 % of the working depth, 27 cm."
    assert set_up_advice((), words) == []


def test_ground_left_alone_is_not_spoken_of(told):
    assert told([(3, 0, "not ripped", "not ripped", None, None)]) == []
