from dataclasses import replace

import pytest

from hardpan.prescription.wording import (
    Alternative,
    Story,
    closed,
    gain_to_pay,
    option_text,
    reason,
    would_change,
    would_unbar,
)

RIPPED = Story(
    soil="deep sand",
    depth_mm=450,
    setup="winged tines",
    bottom_mm=(405.0, 360.0, 450.0),
    chance=0.95,
    net=96.2,
    currency="AUD",
    responds=True,
    note="",
    clay_mm=float("inf"),
    held="",
    asked_by="",
    tines=7,
    all_tines=7,
    passes=1,
    held_by="engine power",
    instead=None,
    barred="",
    other_pays=False,
    covered=0.93,
    cover_share=None,
)
LEFT = replace(
    RIPPED,
    depth_mm=0,
    setup="",
    instead=Alternative(depth_mm=400, setup="winged tines", cost=150.0, gain=110.0),
)


def test_the_reason_names_depth_set_up_pan_and_money():
    assert reason(RIPPED) == (
        "Rip to 450 mm with winged tines: the pan ends at 405 mm (likely 360 to 450), "
        "and breaking it returns about 96 AUD/ha more than it costs."
    )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"depth_mm": 375}, "going deeper costs more than it brings"),
        ({"depth_mm": 375, "clay_mm": 420.0}, "the clay, where nothing more is gained, begins at about 420 mm"),
        (
            {"held": "the ripper goes no deeper than 450 mm"},
            "(likely 360 to 450), the ripper goes no deeper than 450 mm, and",
        ),
        ({"depth_mm": 500}, "the tines run below it so that it breaks between them as well"),
        ({"chance": 0.6}, "where there is a pan (60% of the ground) it ends at 405 mm"),
        ({"asked_by": "stranded lime"}, "with winged tines (stranded lime):"),
        ({"tines": 5}, "with 5 of 7 tines, because engine power allows no more"),
        ({"passes": 2}, "in two passes, because engine power does not allow it in one"),
        ({"cover_share": 0.9}, "passes below it on 93% of the ground and returns about 96 AUD/ha"),
        ({"cover_share": 0.95}, "(short of the 95% asked for)"),
        ({"cover_share": 0.9, "net": -12.0}, "costs about 12 AUD/ha more than it returns"),
    ],
)
def test_the_reason_says_what_held_the_depth(changes, said):
    assert said in reason(replace(RIPPED, **changes))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {},
            "even the depth that brings most for its cost, 400 mm with winged tines, "
            "would cost about 150 AUD/ha and bring 110 AUD/ha.",
        ),
        ({"chance": 0.3}, "a pan is expected on only 30% of it"),
        ({"responds": False, "soil": "clay", "note": "heavy"}, "not expected to pay on clay (heavy)."),
        (
            {"instead": None, "barred": "hostile clay from 220 mm forbids 200 mm and deeper"},
            "forbids 200 mm and deeper.",
        ),
        (
            {"barred": "gravel forbids inclusion plates"},
            "the set-up of the rest of the paddock is barred (gravel forbids inclusion plates); with another, even",
        ),
        ({"other_pays": True}, "another set-up would pay"),
        ({"instead": replace(LEFT.instead, gain=0.3)}, "and bring nothing."),
        ({"instead": replace(LEFT.instead, gain=-8.2)}, "and take 8 AUD/ha of grain."),
        (
            {"instead": replace(LEFT.instead, held="the ripper goes no deeper than 400 mm")},
            "110 AUD/ha; the ripper goes",
        ),
        ({"cover_share": 0.9}, "no pan is expected on 93% of it."),
    ],
)
def test_ground_that_is_left_says_why(changes, said):
    text = reason(replace(LEFT, **changes))
    assert text.startswith("Leave unripped: ")
    assert said in text


def test_every_reason_is_one_sentence():
    for story in (RIPPED, LEFT, replace(LEFT, chance=0.2, other_pays=True), replace(RIPPED, tines=3)):
        assert reason(story).endswith(".")
        assert ". " not in reason(story)


def changed(**given):
    plain = {"share_better": 0.3, "other": "500 mm", "bottom_mm": None, "deeper": True, "probes": 3}
    return would_change(**plain | {"needed_t_per_ha": 0.214, "pays": True} | given)


def test_what_would_change_the_choice_names_the_bottom_where_that_decides():
    assert changed(bottom_mm=468.0) == (
        "a pan bottom below 470 mm would favour 500 mm (3 more probes here would tell); "
        "a first-season gain below 0.21 t/ha would make it a loss"
    )
    assert "above 380 mm would favour 500 mm (1 more probe here" in changed(bottom_mm=381.0, deeper=False, probes=1)


def test_what_would_change_the_choice_is_the_gain_where_no_bottom_parts_the_two():
    text = changed()
    assert text == (
        "a first-season gain below 0.21 t/ha would make it a loss; 500 mm has a 30% chance of returning more"
    )


def test_an_option_in_words():
    assert option_text(450, "winged tines") == "450 mm with winged tines"
    assert option_text(0, "") == "leaving it unripped"
    assert "0.35 t/ha" in gain_to_pay(0.349)


def test_an_exclusion_names_the_strip_kept_around_it():
    kept_m = {"stock water pipe": 10.0, "rock outcrop": 0.0}
    assert closed("stock water pipe", kept_m) == "Not ripped: stock water pipe is excluded, with 10 m kept around it."
    assert closed("rock outcrop", kept_m) == "Not ripped: rock outcrop is excluded."


def test_a_pass_that_does_not_pay_would_be_changed_by_a_larger_gain():
    assert changed(pays=False).startswith("a first-season gain above 0.21 t/ha would make ripping pay")


def test_no_chance_is_not_told_as_one():
    assert changed(share_better=0.004) == "a first-season gain below 0.21 t/ha would make it a loss"


@pytest.mark.parametrize(
    ("barred", "said"),
    [
        ("hostile clay from 220 mm (kept 50 mm above) forbids 300 mm and deeper", "clay found deeper"),
        ("the soil is moist to only 150 mm", "soil found moist"),
        ("engine power (20 kW usable) forbids 200 mm and deeper", "a machine without that limit"),
    ],
)
def test_what_would_open_ground_that_a_limit_bars(barred, said):
    assert would_unbar(barred).startswith(said)
