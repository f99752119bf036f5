"""Tables of the records with their sentences."""

from dataclasses import replace

from hardpan.core.said import Said, area
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.told import ZONES, told_insertions, told_issues, told_zones
from hardpan.outputs.words.units import Units
from hardpan.records.columns import PLAN
from hardpan.records.issues import Issue, Outcome


def test_every_issue_is_a_row_with_file_and_place(files, us):
    what = Said("{area} have no soil polygon", area=area(1.5))
    issue = Issue(outcome=Outcome.WARN, stage="survey", code="x", what=what, done="d", file="f.csv", place="row 3")
    row = {"outcome": "warn", "stage": "survey", "code": "x", "file": "f.csv", "place": "row 3", "done": "d"}
    assert told_issues((issue,), files).to_dict("records") == [row | {"what": "1.50 ha have no soil polygon"}]
    assert told_issues((issue,), us).loc[0, "what"] == "3.71\u00a0ac have no soil polygon"
    assert told_issues((), files).empty


def test_an_issue_about_zones_has_them_for_its_place(files):
    issue = Issue(outcome=Outcome.WARN, stage="zones", code="x", what="w", done="d")
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
