"""Why each zone is worked as it is: the sentences from records, metric and US."""

from dataclasses import replace

import pytest

from hardpan.records.reasons import (
    MACHINE_LIMITS,
    Alternative,
    Closed,
    Cover,
    Held,
    Left,
    Limit,
    Open,
    Opening,
    Pull,
    Reason,
    Ripped,
    Turn,
)

POWER = Held(limit=Limit.POWER, value=314.5)
PULL = Pull(tines=7, all_tines=7, passes=1, short_of=POWER)
RIPPED = Ripped(
    depth_mm=450,
    setup="winged",
    pan_probability=0.95,
    bottom_mm=(405.0, 360.0, 450.0),
    net_per_ha=96.2,
    pull=PULL,
    loosened=0.95,
)
BEST = Alternative(depth_mm=400, setup="winged", cost_per_ha=150.0, gain_per_ha=110.0)
LEFT = Left(soil_type="deep sand", responds=True, pan_probability=0.95, best=BEST)
DEEPEST = Held(limit=Limit.RIPPER_DEEPEST, value=450.0)
CLAY = Held(limit=Limit.CLAY, value=490.0, from_mm=450.0, kept_mm=50.0, name="sodic clay")
GRAVEL = Held(limit=Limit.RULE, name="gravel", setup="inclusion")
TURN = Turn(needed_t_per_ha=0.214, pays=True, better_share=0.3, probes=3)
OTHER = Alternative(depth_mm=500, setup="winged")


def of(why, **more):
    return Reason(zone=1, why=why, **more)


def plain(text):
    return text.replace("\u00a0", " ")


def test_a_bottom_mapped_below_all_readings_is_not_told_as_one_that_was_seen(files, metric):
    deep = replace(RIPPED, bottom_mm=(845.0, 750.0, 945.0), read_to_mm=700.0)
    assert files.zones.reason(of(deep)) == (
        "Rip to 450 mm with winged tines: the pan likely ends below 700 mm, the deepest reading in a pan, at a depth"
        " not known (by what is usual 750 to 945), going deeper costs more than it brings, and breaking 95 % of it"
        " returns about 96 $/ha more than it costs."
    )
    assert "ends below 70 cm, the deepest reading" in plain(metric.zones.reason(of(deep)))
    assert "the pan ends at 845 mm" in files.zones.reason(of(replace(deep, read_to_mm=850.0)))


def test_the_reason_names_depth_set_up_pan_and_money(files, metric, us):
    assert files.zones.reason(of(RIPPED)) == (
        "Rip to 450 mm with winged tines: the pan ends at 405 mm (likely 360 to 450), "
        "and breaking it returns about 96 $/ha more than it costs."
    )
    assert plain(metric.zones.reason(of(RIPPED))) == (
        "Rip to 45 cm with winged tines: the pan ends at 40.5 cm (likely 36 to 45), "
        "and breaking it returns about 96 $/ha more than it costs."
    )
    assert plain(us.zones.reason(of(RIPPED))) == (
        "Rip to 17.7 in with winged tines: the pan ends at 15.9 in (likely 14.2 to 17.7), "
        "and breaking it returns about 39 $/ac more than it costs."
    )


def test_the_brief_reason_follows_depth_and_set_up_and_says_neither(files):
    held = replace(RIPPED, credited_by="stranded lime")
    assert files.zones.brief(of(held)).startswith(" (stranded lime): the pan ends at 405 mm")
    assert files.zones.brief(of(replace(LEFT, responds=False, soil_type="clay"))).startswith("Ripping is not expected")
    assert files.zones.brief(of(Closed(name="rock"))) == "Not ripped: rock is excluded."


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"depth_mm": 375, "loosened": 0.54}, "more than it brings, and breaking 54 % of it returns about 96 $"),
        ({"depth_mm": 375, "clay_mm": 420.0}, "the clay, where nothing more is gained, begins at about 420 mm"),
        ({"held": DEEPEST}, "(likely 360 to 450), the ripper goes no deeper than 450 mm, and"),
        ({"held": CLAY}, ", sodic clay from 490 mm (kept 50 mm above) forbids 450 mm and deeper, and"),
        ({"held": replace(CLAY, name="hostile subsoil", kept_mm=0.0)}, ", hostile clay from 490 mm forbids 450 mm"),
        ({"held": replace(POWER, from_mm=475.0)}, ", engine power (314 kW usable) forbids 475 mm and deeper, and"),
        ({"depth_mm": 500, "loosened": 0.95}, "the tines run below it so that it breaks between them as well"),
        ({"depth_mm": 500, "loosened": 0.6}, "the tines run below it, which still breaks more of it (60 % in all)"),
        ({"pan_probability": 0.6}, "where there is a pan (60 % of the ground) it ends at 405 mm"),
        ({"credited_by": "stranded lime"}, "with winged tines (stranded lime):"),
        ({"pull": replace(PULL, tines=5)}, "with 5 of 7 tines, as the whole paddock"),
        (
            {"pull": replace(PULL, tines=5, whole=False)},
            "with 5 of 7 tines, because engine power (314 kW usable) allows no more",
        ),
        ({"pull": replace(PULL, passes=2)}, "in two passes, because engine power (314 kW usable) does not allow it in"),
        ({"pull": replace(PULL, slow_kmh=5.75)}, "at 5.75 km/h, because engine power (314 kW usable) allows no faster"),
        (
            {"depth_mm": 375, "deeper": replace(PULL, passes=2, from_mm=425.0)},
            "costs more than it brings, as engine power (314 kW usable) asks for two passes from 425 mm on, and",
        ),
        (
            {"depth_mm": 375, "deeper": replace(PULL, passes=2, from_mm=425.0)},
            "(314 kW usable) asks for two passes from 425 mm on, and",
        ),
        ({"cover": Cover(asked=0.9, reached=0.93)}, "passes below it on 93 % of the ground and returns about 96 $/ha"),
        ({"cover": Cover(asked=0.95, reached=0.93)}, "(short of the 95 % asked for)"),
        (
            {"cover": Cover(asked=0.9, reached=0.93), "net_per_ha": -12.0},
            "costs about 12 $/ha more than it returns",
        ),
    ],
)
def test_the_reason_says_what_held_the_depth(files, changes, said):
    assert said in files.zones.reason(of(replace(RIPPED, **changes)))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"held": CLAY}, ", sodic clay from 19.3 in (kept 2 in above) forbids 17.7 in and deeper, and"),
        ({"held": DEEPEST}, "the ripper goes no deeper than 17.7 in"),
        ({"pull": replace(PULL, slow_kmh=5.75)}, "at 3.6 mph, because engine power (422 hp usable) allows no faster"),
        (
            {"pull": replace(PULL, tines=5, whole=False, short_of=Held(limit=Limit.GRIP, value=122.58))},
            "with 5 of 7 tines, because the tractor's grip (27,600 lbf) allows no more",
        ),
    ],
)
def test_limits_are_told_to_us_readers_in_their_units(us, changes, said):
    assert said in plain(us.zones.reason(of(replace(RIPPED, **changes))))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {},
            "even the depth that returns most, 400 mm with winged tines, would cost about 150 $/ha and bring 110 $/ha.",
        ),
        ({"pan_probability": 0.3}, "a pan is expected on only 30 % of it, and even the depth"),
        ({"responds": False, "soil_type": "sand over clay"}, "not expected to pay on sand over clay (ripping into the"),
        (
            {"best": None, "barred": replace(CLAY, value=220.0, from_mm=200.0, name="")},
            "Leave unripped: hostile clay from 220 mm (kept 50 mm above) forbids 200 mm and deeper.",
        ),
        (
            {"best": None, "barred": CLAY, "shallowest": Held(limit=Limit.RIPPER_SHALLOWEST, value=450.0)},
            "forbids 450 mm and deeper, and the ripper goes no shallower than 450 mm.",
        ),
        (
            {"barred": GRAVEL},
            "the set-up of the rest of the paddock is barred (gravel forbids inclusion plates); with another, even",
        ),
        ({"other_pays": True}, "another set-up would pay"),
        ({"best": replace(BEST, gain_per_ha=160.0)}, "Leave unripped: the depth that returns most"),
        ({"best": replace(BEST, gain_per_ha=0.3)}, "and bring nothing."),
        ({"best": replace(BEST, gain_per_ha=-8.2)}, "and take 8 $/ha of grain."),
        ({"best": replace(BEST, held=DEEPEST)}, "110 $/ha; the ripper goes no deeper than 450 mm."),
        ({"cover": Cover(asked=0.9, reached=0.93)}, "no pan is expected on 93 % of it."),
        (
            {"soft_to_mm": 412.5},
            "no pan was met, but half of the readings end above 412 mm and one may lie deeper.",
        ),
        (
            {"cover": Cover(asked=0.9, reached=0.4, reachable=0.7), "best": replace(BEST, held=DEEPEST)},
            "no depth allowed passes below the pan on more than 70 % of it; the ripper goes no deeper than 450 mm.",
        ),
        (
            {"cover": Cover(asked=0.9, reached=0.1, reachable=0.3, otherwise=True), "best": BEST},
            "on more than 30 % of it; another set-up would, but the ripper is fitted for the rest of the paddock.",
        ),
        (
            {"cover": Cover(asked=0.9, reached=0.1, otherwise=True), "best": BEST, "barred": GRAVEL},
            "is barred (gravel forbids inclusion plates); another would pass below the pan.",
        ),
    ],
)
def test_ground_that_is_left_says_why(files, changes, said):
    text = files.zones.reason(of(replace(LEFT, **changes)))
    assert text.startswith("Leave unripped: ")
    assert said in text


@pytest.mark.parametrize("limit", Limit)
def test_every_limit_has_words_of_its_own_and_shows_its_figure(files, us, limit):
    held = Held(limit=limit, value=390.0, from_mm=425.0, name="winged", setup="plain")
    said = files.zones.held(held)
    assert said != limit.value or limit is Limit.SPEED
    assert "nan" not in said
    assert limit.unit == "" or f"390 {limit.unit}" in said
    assert limit.unit not in {"mm", "kW", "kN"} or f" {limit.unit}" not in plain(us.zones.held(held))


def test_limits_of_the_machine_bar_what_is_deeper_and_ends_of_the_ripper_do_not():
    assert all(limit.bars_deeper for limit in MACHINE_LIMITS)
    assert not Limit.RIPPER_DEEPEST.bars_deeper
    assert not Limit.RULE.bars_deeper


def test_every_reason_is_one_sentence(files):
    whys = (RIPPED, LEFT, replace(LEFT, pan_probability=0.2, other_pays=True), replace(RIPPED, held=CLAY))
    for why in whys:
        text = files.zones.reason(of(why))
        assert text.endswith(".")
        assert ". " not in text


def test_what_would_change_the_choice_names_the_bottom_where_that_decides(files, us):
    turn = replace(TURN, bottom_mm=468.0, deeper=True)
    reason = of(RIPPED, runner_up=OTHER, change=turn)
    assert files.zones.change(reason) == (
        "a pan bottom below 470 mm would favour 500 mm with winged tines (3 more probes here would tell); "
        "a first-season gain below 0.21 t/ha would make it a loss"
    )
    assert plain(us.zones.change(reason)) == (
        "a pan bottom below 18.5 in would favour 19.7 in with winged tines (3 more probes here would tell); "
        "a first-season gain below 191 lb/ac would make it a loss"
    )
    shallower = replace(turn, bottom_mm=381.0, deeper=False, probes=1)
    said = files.zones.change(of(RIPPED, runner_up=OTHER, change=shallower))
    assert "above 380 mm would favour 500 mm with winged tines (1 more probe here" in said


def test_what_would_change_the_choice_is_the_gain_where_no_bottom_parts_the_two(files):
    assert files.zones.change(of(RIPPED, runner_up=OTHER, change=TURN)) == (
        "a first-season gain below 0.21 t/ha would make it a loss; "
        "500 mm with winged tines has a 30 % chance of returning more"
    )


def test_a_pass_that_does_not_pay_would_be_changed_by_a_larger_gain(files):
    said = files.zones.change(of(RIPPED, runner_up=OTHER, change=replace(TURN, pays=False)))
    assert said.startswith("a first-season gain above 0.21 t/ha would make ripping pay")


def test_no_chance_is_not_told_as_one(files):
    turn = replace(TURN, better_share=0.004)
    said = files.zones.change(of(RIPPED, runner_up=OTHER, change=turn))
    assert said == "a first-season gain below 0.21 t/ha would make it a loss"


@pytest.mark.parametrize(
    ("barred", "said"),
    [
        (CLAY, "clay found deeper than"),
        (Held(limit=Limit.REACH, name="delving"), "clay found shallower than"),
        (Held(limit=Limit.MOIST, value=150.0, from_mm=200.0), "soil found moist"),
        (GRAVEL, "a set-up that gravel does not forbid"),
        (replace(POWER, from_mm=200.0), "a machine without that limit"),
    ],
)
def test_what_would_open_ground_that_a_limit_bars(files, barred, said):
    why = replace(LEFT, best=None, barred=barred)
    assert files.zones.change(of(why, change=Open(by=Opening.LIMIT))).startswith(said)


@pytest.mark.parametrize(
    ("opening", "said"),
    [
        (Open(by=Opening.STRIP), "a test strip that shows a gain"),
        (Open(by=Opening.DEEPER), "a ripper or limits that let the tines go deeper"),
        (Open(by=Opening.SETUP), "fitting a second set-up for this ground"),
        (Open(by=Opening.GAIN, needed_t_per_ha=0.349), "a first-season gain above 0.35 t/ha would make ripping pay"),
    ],
)
def test_what_would_have_ground_ripped_that_is_left(files, opening, said):
    assert files.zones.change(of(LEFT, change=opening)).startswith(said)


def test_nothing_would_change_is_told_as_nothing(files):
    assert files.zones.change(of(LEFT)) == ""
    assert files.zones.change(of(Closed(name="rock"))) == ""


def test_the_runner_up_in_words(files):
    assert files.zones.runner_up(of(RIPPED, runner_up=OTHER)) == "500 mm with winged tines"
    assert files.zones.runner_up(of(RIPPED, runner_up=Alternative(depth_mm=0, setup=""))) == "leaving it unripped"
    assert files.zones.runner_up(of(RIPPED)) == "no other choice is open here"
    assert files.zones.runner_up(of(Closed(name="rock"))) == ""


def test_an_exclusion_names_the_strip_kept_around_it(files, us):
    pipe = of(Closed(name="stock water pipe", kept_m=10.0))
    assert files.zones.reason(pipe) == "Not ripped: stock water pipe is excluded, with 10 m kept around it."
    assert plain(us.zones.reason(pipe)) == "Not ripped: stock water pipe is excluded, with 33 ft kept around it."
    assert files.zones.reason(of(Closed(name="cable", lift_m=20.0))) == (
        "Not ripped: cable is excluded; the tines rise within 20 m of it."
    )
    assert files.zones.reason(of(Closed(name="rock outcrop"))) == "Not ripped: rock outcrop is excluded."


def test_what_ripping_leaves_unmended_is_said_once(files):
    reason = of(RIPPED, unmended=("repellence over sodic clay", "repellence, clay out of reach", "sodic clay"))
    assert files.zones.unmended(reason) == "water repellence, which tines alone do not cure; sodicity"
