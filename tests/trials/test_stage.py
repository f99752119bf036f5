"""The trial as a whole, on strips made by hand."""

import numpy as np
import pandas as pd
import pytest

from builders.trials import ASKED, inputs, points, strips
from hardpan.core.errors import InputError
from hardpan.records.trial import Method, Rule
from hardpan.trials.stage import evaluate_trial


def effect(result, method=Method.SPATIAL, group="all"):
    found = result.effects
    return found[(found["group"] == group) & (found["method"] == method)].iloc[0]


def test_an_effect_that_is_there_is_found_by_both_methods():
    table = strips(pairs=6)
    for method in (Method.SPATIAL, Method.PAIRED):
        rows = [
            effect(evaluate_trial(inputs(table, points(table, effect=0.5, seed=k)), ASKED), method) for k in range(5)
        ]
        assert all(row["low"] > 0 for row in rows)
        assert sum(row["low"] < 0.5 < row["high"] for row in rows) >= 3  # nine in ten hold it
    assert rows[0]["df"] == 5
    assert rows[0]["strips"] == 12


def test_paired_is_students_t_on_the_means_of_the_strips():
    table = strips(pairs=4)
    result = evaluate_trial(inputs(table, points(table, seed=7)), ASKED)
    means = result.means.pivot_table(index="pair", columns="treatment", values="mean")
    apart = means["ripped"] - means["unripped"]
    assert effect(result, Method.PAIRED)["effect"] == pytest.approx(apart.mean())
    width = 2 * 2.353363 * apart.std() / 2  # 95 % point of t on 3 df, printed tables
    assert effect(result, Method.PAIRED)["high"] - effect(result, Method.PAIRED)["low"] == pytest.approx(
        width, rel=1e-6
    )


def test_swapping_the_treatments_turns_the_effect_round():
    table = strips(pairs=4)
    harvest = points(table, seed=3)
    other = table.assign(treatment=["unripped" if one == "ripped" else "ripped" for one in table["treatment"]])
    one, turned = (effect(evaluate_trial(inputs(each, harvest), ASKED)) for each in (table, other))
    assert turned["effect"] == pytest.approx(-one["effect"], rel=1e-4)
    assert turned["high"] == pytest.approx(-one["low"], rel=1e-3)


def test_cleaning_does_not_look_at_the_treatment():
    table = strips(pairs=4)
    harvest = points(table, timed=True, seed=5)
    harvest.loc[[3, 50], "value"] = 9.0
    asked = ASKED.model_copy(update={"clean": True})
    other = table.assign(treatment=["unripped" if one == "ripped" else "ripped" for one in table["treatment"]])
    one, turned = (evaluate_trial(inputs(each, harvest), asked) for each in (table, other))
    assert one.cleaning.equals(turned.cleaning)
    assert one.points.equals(turned.points)


def test_every_point_is_counted_once():
    table = strips(pairs=3)
    harvest = points(table, timed=True)
    harvest.loc[0, "value"] = np.nan
    harvest.loc[1, "value"] = -1.0
    outside = harvest.iloc[:4].assign(x_m=-500.0, value=2.0, time_s=np.nan)
    harvest = pd.concat([harvest, outside], ignore_index=True)
    result = evaluate_trial(inputs(table, harvest), ASKED.model_copy(update={"clean": True}))
    assert result.cleaning["points"].sum() + len(result.points) == len(harvest)
    taken = result.cleaning.set_index("rule")["points"]
    assert taken[Rule.UNREADABLE] == 1
    assert taken[Rule.NOT_ABOVE_ZERO] == 1


def test_without_cleaning_every_point_on_a_strip_is_taken():
    table = strips(pairs=3)
    harvest = points(table, timed=True)
    harvest.loc[5, "value"] = 50.0
    assert len(evaluate_trial(inputs(table, harvest), ASKED).points) == len(harvest)


def test_zones_that_differ_are_told_apart_and_pooling_draws_them_together():
    table = strips(pairs=8, zones=2, depths=(300.0, 500.0))
    result = evaluate_trial(inputs(table, points(table, effect={1: 0.2, 2: 0.8}, seed=2)), ASKED)
    alone = [effect(result, Method.SPATIAL, zone)["effect"] for zone in ("1", "2")]
    pooled = [effect(result, Method.POOLED, zone)["effect"] for zone in ("1", "2")]
    assert alone[0] < alone[1]
    assert alone[0] <= pooled[0] < pooled[1] <= alone[1]
    assert result.by_depth["group"].tolist() == ["300", "500"]


def test_strips_without_a_stated_pair_are_paired_with_their_neighbour():
    table = strips(pairs=4)
    harvest = points(table)
    stated, found = (evaluate_trial(inputs(each, harvest), ASKED) for each in (table, table.assign(pair=0)))
    assert effect(found, Method.PAIRED)["effect"] == pytest.approx(effect(stated, Method.PAIRED)["effect"])


def test_one_strip_of_each_gives_an_answer_and_says_what_it_leaves_open():
    table = strips(pairs=1)
    result = evaluate_trial(inputs(table, points(table)), ASKED)
    assert [issue.code for issue in result.issues] == ["no-repeat"]
    assert result.effects["method"].tolist() == [Method.SPATIAL]


def test_points_beside_the_strips_are_refused():
    table = strips()
    harvest = points(table).assign(x_m=lambda rows: rows["x_m"] + 1e6)
    with pytest.raises(InputError, match="no point lies on a strip"):
        evaluate_trial(inputs(table, harvest), ASKED)


def test_a_harvest_that_cleaning_takes_out_whole_is_not_said_to_lie_elsewhere():
    table = strips()
    with pytest.raises(InputError, match=r"cleaning left no point; of most, \d+: yield not above zero"):
        evaluate_trial(inputs(table, points(table).assign(value=0.0)), ASKED.model_copy(update={"clean": True}))


def test_a_harvest_of_one_treatment_is_refused():
    table = strips()
    ripped = table[table["treatment"] == "ripped"]
    with pytest.raises(InputError, match="no unripped strip was harvested"):
        evaluate_trial(inputs(table, points(ripped)), ASKED)
