"""The page of a trial in the units of its reader."""

import re

import numpy as np
import pandas as pd
import pytest

from builders.pages import metric_in
from builders.trials import ASKED, inputs, points, strips
from hardpan.outputs.trial import trial_words, write_trial
from hardpan.records.evidence import TrialRun
from hardpan.records.trail import Trail
from hardpan.records.trial import Method
from hardpan.trials.stage import evaluate_trial

LB_PER_AC = 0.45359237 / 1000 / 0.40468564224  # t/ha in a pound per acre (NIST Handbook 44, appendix C)


def run_of(unit="t/ha", **display):
    table = strips(pairs=4, zones=2)
    result = evaluate_trial(inputs(table, points(table, effect=0.5), unit=unit), ASKED)
    trail = Trail(
        version="0", versions=pd.Series({"numpy": "2"}), settings={}, settings_digest="ab", inputs=pd.Series(dtype=str),
        seed=0, started="2027-12-01T00:00:00Z", timings_s=pd.Series({"effects": 1.0}),
    )  # fmt: skip
    return TrialRun(name="small", result=result, catalog=None, display=display, trail=trail)


def page_of(run, folder):
    write_trial(run, folder)
    return (folder / "trial.html").read_text(encoding="utf-8")


def test_a_page_for_us_readers_has_no_metric_unit(tmp_path):
    assert metric_in(page_of(run_of(units="us"), tmp_path / "out")) == []


def test_the_effect_of_us_readers_is_that_of_the_file_in_pounds_per_acre(tmp_path):
    run = run_of(units="us")
    write_trial(run, tmp_path / "out")
    effect = pd.read_csv(tmp_path / "out" / "trial.csv").set_index(["group", "method"]).loc[("all", Method.SPATIAL)]
    told = re.search(r"Ripping gave \+([\d,]+)\slb/ac", trial_words(run).headline(run.result).replace("\u00a0", " "))
    assert float(told[1].replace(",", "")) == pytest.approx(effect["effect"] / LB_PER_AC, abs=0.6)


def test_depths_are_those_of_the_display(tmp_path):
    page = page_of(run_of(display_unit="cm"), tmp_path / "out").replace("\u00a0", " ")
    assert "40 cm" in page
    assert "400 mm" not in page


def test_yields_of_an_unknown_unit_are_told_as_they_are(tmp_path):
    run = run_of(unit="as given", units="us")
    assert np.isclose(trial_words(run).shown(2.0), 2.0)
    assert "lb/ac" not in page_of(run, tmp_path / "out")
