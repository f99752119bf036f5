"""A machine's log on the page and in tables, in the units of its readers."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from builders.decision import shipped_catalog
from builders.machine_log import machine_log, passes, plan
from builders.pages import metric_in
from hardpan.outputs.applied import applied_section, draw_applied, observed_lines, write_applied
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.units import Units
from hardpan.records.applied import ALL, AppliedAs
from hardpan.verify.applied import compare_with_plan

PLAN = plan()
WORDS, PLAIN, US = (
    speak(units, shipped_catalog())
    for units in (
        Units.of(OutputSettings(), "AUD"),
        Units.of_files("AUD"),
        Units.of(OutputSettings(units="us"), "USD"),
    )
)


def applied(records):
    return compare_with_plan(PLAN, machine_log(records), level=0.9)


@pytest.fixture(scope="module")
def late():
    """Twenty passes, two left out and one in the strip that is left, 4 s late."""
    return applied(passes(late_s=4.0, lines=[*range(4), *range(6, 21)]))


def test_the_headline_adds_up_to_the_ground_to_rip(late):
    says = PLAIN.applied.headline(late)
    within, whole, shallow, deep, missing, left = map(float, re.findall(r"(\d+\.\d)(?= (?:of|ha))", says))
    assert whole == 3.2
    assert within + shallow + deep + missing == pytest.approx(whole, abs=0.11)
    assert left == 0.2
    assert says.endswith("that the plan leaves were ripped (zone 3).")


def test_without_a_depth_the_headline_says_so():
    says = PLAIN.applied.headline(applied(passes().assign(depth_mm=0.0)))
    assert says == "The machine's log: 3.2 of 3.2 ha to rip were worked; it does not tell how deep."


def test_the_lag_is_told_with_its_interval_and_what_follows(late):
    says = PLAIN.applied.lag(late.lag)
    assert says.startswith("The depth changes 4.0 s (8.0 m) after the border")
    assert "90 % interval" in says
    assert "so much earlier" in says
    assert "Too few" in PLAIN.applied.lag(None)


def test_the_settings_for_the_next_run_name_the_set_up_and_the_ground(late):
    lines = observed_lines(late.observed, PLAIN)
    assert lines[-4:] == [
        "[machine]", f"observed_fuel_l_per_ha = {late.observed.fuel_l_per_ha:.1f}", "observed_depth_mm = 375",
        "observed_speed_kmh = 7.2",
    ]  # fmt: skip
    assert "winged tines" in lines[0]
    assert all(line.startswith("#") for line in lines[:-4])


def test_what_was_not_logged_is_no_setting():
    found = applied(passes().assign(time_s=np.nan, fuel_l=np.nan))
    assert observed_lines(found.observed, PLAIN)[-2:] == ["[machine]", "observed_depth_mm = 375"]


def test_the_tables_hold_what_the_record_holds(late, tmp_path):
    write_applied(tmp_path, late, PLAIN)
    table = pd.read_csv(tmp_path / "applied.csv")
    assert table["zone"].tolist() == [ALL, "1", "2", "3"]
    assert table["within_ha"].tolist() == pytest.approx(late.zones["within_ha"], abs=0.005)
    rules = pd.read_csv(tmp_path / "cleaning.csv")
    assert rules["rule"].iloc[-1] == "used"
    assert rules["records"].tolist() == late.rules["records"].tolist()


def test_planned_litres_are_those_of_the_plans_report(late):
    """Parts of a sum are rounded so that they add up to it, in the report of the pass as in that of the plan."""
    odd = late.zones.assign(planned_fuel_l=[2.8, 1.4, 1.4, np.nan])
    rows = applied_section(replace(late, zones=odd), PLAN.zones, PLAIN)["zones"].rows
    assert [re.split(" / ", row[-1])[1] for row in rows] == ["3 L", "2 L", "1 L"]


def test_the_section_in_us_units_has_no_metric_one(late):
    section = applied_section(late, PLAN.zones, US)
    texts = [section["headline"], *section["says"], *section["doubts"], *section["zones"].heads]
    texts += [cell for row in section["zones"].rows for cell in row]
    source = "".join(f"<p>{text}</p>" for text in texts)
    assert metric_in(source) == []


def test_the_map_shows_each_outcome_that_is_there(late):
    figure = draw_applied(late, PLAN.zones)
    drawn = {AppliedAs(row.outcome) for row in late.pieces.itertuples() if not row.geometry.is_empty}
    assert drawn == {AppliedAs.WITHIN, AppliedAs.SHALLOW, AppliedAs.DEEP, AppliedAs.NOT_WORKED}
    assert len(figure.axes[0].patches) == 2 * len(PLAN.zones) + len(drawn)
    assert {text.get_text() for text in figure.axes[0].texts} == {"1", "2"}


def test_a_log_of_which_nothing_was_used_has_a_section_all_the_same():
    found = applied(passes().assign(working=0.0, depth_mm=-50.0))
    section = applied_section(found, PLAN.zones, WORDS)
    assert section["lines"] == []
    assert "3.2\u00a0ha not worked" in section["headline"]
