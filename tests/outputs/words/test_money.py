"""What the ripping costs and returns: the sentences from records, metric and US."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from hardpan.outputs.words.english import speak
from hardpan.outputs.words.units import Units
from hardpan.records.advice import Cheaper, Condition, Hiring, Met, NextDepth
from hardpan.records.ledger import Driver, Ledger, Strategy
from hardpan.records.plan import Plan
from hardpan.records.reasons import Alternative, Cover, Held, Left, Limit, Reason

HIRING = Hiring(cheaper=Cheaper.CONTRACTOR, own=98.0, hired=80.0, owning=31.4, low=5.2, high=30.0, quoted=True)


def zones(*rows):
    """Area and depth of each zone of ground, after 3 ha of exclusions."""
    areas, depths = zip(*rows, strict=True)
    kind = ["exclusion", *["ground"] * len(rows)]
    return pd.DataFrame({"zone": range(len(kind)), "kind": kind, "area_ha": [3.0, *areas], "depth_mm": [0, *depths]})


@pytest.fixture
def planned(run):
    """Plans of which only areas and depths matter."""

    def planned(*rows, **fields) -> Plan:
        none = {"reasons": (), "conditions": (), "moisture": run.plan.moisture.iloc[:0]}
        return replace(run.plan, zones=_columned(run.plan.zones, zones(*rows)), **none | fields)

    return planned


def _columned(like, table):
    """The table with all columns of a plan."""
    return table.assign(**{name: None for name in like if name not in table})


def ledger_of(like: Ledger, *, net=60.0, loss=0.2, ripped_ha=96.0, amendments=0.0, **fields) -> Ledger:
    low, high = net - 90.0, net + 90.0
    ours = {"strategy": Strategy.PLAN, "ripped_ha": ripped_ha, "cost": 98.0 * ripped_ha, "fuel_l": 1923.0}
    usual = {"strategy": Strategy.USUAL, "ripped_ha": 100.0, "depth_mm": 500.0, "net": -2000.0}
    ours |= {"net": net * ripped_ha, "net_low": low * ripped_ha, "net_high": high * ripped_ha, "loss_probability": loss}
    lines = pd.DataFrame({"zone": ["total"], "item": ["amendments"], "quantity": [96.0], "amount": [amendments]})
    made = {"hours": 41.0, "days": 4.1, "seasons": (3.0, 3.0), "open_ha": 0.0, "open_by": None, "hiring": None}
    return replace(like, strategies=pd.DataFrame([ours, usual]), lines=lines, **made | fields)


PADDOCK = ((40.0, 500), (30.0, 400), (26.0, 300), (21.0, 0))


def plain(text):
    return text.replace("\u00a0", " ")


def test_the_headline_says_where_how_deep_at_what_cost_and_whether_it_pays(files, metric, us, planned, ledger):
    made = ledger_of(ledger)
    assert files.money.headline(planned(*PADDOCK), made) == (
        "Rip 96.0 of 120.0 ha in three depths (300, 400 and 500 mm), leave 21.0 ha: about 98 $/ha, 41.0 h (4.1 days of "
        "10 h) and 1,923 L; "
        "expected to return 60 $/ha over three seasons (likely range -30 to 150, chance of a loss 20 %)."
    )
    assert plain(metric.money.headline(planned(*PADDOCK), made)) == (
        "Rip 96.0 of 120.0 ha in three depths (30, 40 and 50 cm), leave 21.0 ha: about 98 $/ha, 41.0 h (4.1 days of "
        "10 h) and 1,923 L; "
        "expected to return 60 $/ha over three seasons (likely range −30 to 150, chance of a loss 20 %)."
    )
    assert plain(us.money.headline(planned(*PADDOCK), made)) == (
        "Rip 237.2 of 296.5 ac in three depths (11.8, 15.7 and 19.7 in), leave 51.9 ac: about 40 $/ac, 41.0 h (4.1 "
        "days of 10 h) and 508 gal; "
        "expected to return 24 $/ac over three seasons (likely range −12 to 61, chance of a loss 20 %)."
    )


def test_no_line_ends_between_a_number_of_the_headline_and_its_unit(metric, us, planned, ledger):
    made = ledger_of(ledger, hours=34.0, days=4.0)
    for words in (metric, us):
        told = words.money.headline(planned(*PADDOCK), made)
        assert "4.0\u00a0days of 8.5\u00a0h" in told
        assert not re.search(r"\d (h|ha|ac|cm|in|L|gal|[$%])(?!\w)", told)


@pytest.mark.parametrize(("currency", "unit"), [("EUR", " €/ha"), ("ZAR", " ZAR/ha")])
def test_the_headline_speaks_the_users_currency(shipped, planned, ledger, currency, unit):
    words = speak(Units.of_files(currency), shipped)
    assert unit in words.money.headline(planned(*PADDOCK), ledger_of(ledger))


def test_nothing_pays_is_said_plainly_with_what_ripping_would_lose(files, us, planned, ledger):
    left, made = planned((57.0, 0), (40.0, 0)), ledger_of(ledger, ripped_ha=0.0)
    assert files.money.headline(left, made) == (
        "Leave all 100.0 ha unripped: no depth is expected to pay here. "
        "Ripping 100.0 ha at 500 mm would lose about 20 $/ha."
    )
    assert plain(us.money.headline(left, made)).endswith("Ripping 247.1 ac at 19.7 in would lose about 8 $/ac.")


def left(zone, **why):
    least = {"soil_type": "deep sand", "responds": True, "pan_probability": 0.9, "best": None}
    return Reason(zone=zone, why=Left(**least | why))


def dry(from_mm=300.0):
    return Held(limit=Limit.MOIST, value=100.0, from_mm=from_mm)


BEST = Alternative(depth_mm=400, setup="plain", cost_per_ha=90.0, gain_per_ha=50.0)
COVER = {"asked": 0.9, "reached": 0.1, "reachable": 0.4}


@pytest.mark.parametrize(
    ("whys", "said"),
    [
        ([{"best": BEST}] * 2, "Leave all 100.0 ha unripped: no depth is expected to pay here."),
        ([{"barred": dry()}] * 2, "Wait: leave all 100.0 ha unripped: the soil is moist to only 100 mm."),
        (
            [{"best": replace(BEST, held=Held(limit=Limit.POWER, value=150.0, from_mm=400.0)), "cover": Cover(**COVER)}]
            * 2,
            "Leave all 100.0 ha unripped: engine power (150 kW usable) forbids 400 mm and deeper.",
        ),
        (
            [{"barred": Held(limit=Limit.CLAY, value=300.0, from_mm=250.0)}, {"responds": False}],
            "Leave all 100.0 ha unripped: hostile clay from 300 mm forbids 250 mm and deeper (57.0 ha); ripping is not "
            "expected to pay on deep sand (40.0 ha).",
        ),
        (
            [{"cover": Cover(asked=0.9, reached=0.95), "best": BEST}] * 2,
            "Leave all 100.0 ha unripped: no pan is expected.",
        ),
    ],
)
def test_ground_that_is_all_left_says_which_limit_it_is_for(files, planned, ledger, whys, said):
    reasons = tuple(left(zone, **why) for zone, why in enumerate(whys, start=1))
    plan = planned((57.0, 0), (40.0, 0), reasons=reasons)
    assert files.money.headline(plan, ledger_of(ledger, ripped_ha=0.0)).startswith(said)


def test_too_wet_comes_first_and_bare_ground_and_shallow_moisture_last(files, planned, ledger):
    wet = pd.DataFrame({"zone": [1, 2, 3, 4], "verdict": "too wet"})
    bare = (Condition(zone=1, met=Met.YES, constraint="wind erosion"),)
    plan = planned(*PADDOCK, moisture=wet, conditions=bare, reasons=(left(4, barred=dry()),))
    said = files.money.headline(plan, ledger_of(ledger))
    assert said.startswith(
        "Wait: the soil is too wet, the tines would smear it. Once it has dried: Rip 96.0 of 120.0 ha in"
    )
    assert said.endswith(
        " 21.0 ha are moist too little way down: after rain more could be ripped there. "
        "Less than half of the ground is covered after the pass: loosened sand blows."
    )


def test_a_loss_is_called_a_loss(files, planned, ledger):
    assert "expected to lose 25 $/ha" in files.money.headline(planned(*PADDOCK), ledger_of(ledger, net=-25.0))


def test_one_depth_and_many_depths_read_well(files, planned, ledger):
    made = ledger_of(ledger)
    assert "in one depth (400 mm):" in files.money.headline(planned((10.0, 400)), made)
    many = planned(*((10.0, depth) for depth in (300, 350, 400, 450, 500)))
    assert "in five depths (300 to 500 mm)" in files.money.headline(many, made)


@pytest.mark.parametrize(
    ("fields", "end"),
    [
        ({"open_ha": 7.0, "open_by": Driver.PAN}, " 7.0 ha could go either way: probe again there."),
        (
            {"open_ha": 7.0, "open_by": Driver.GAIN},
            " 7.0 ha could go either way: check strips there would tell, more probes would not.",
        ),
        (
            {"open_ha": 7.0, "open_by": Driver.GRAIN},
            " 7.0 ha could go either way: that hangs on the price of grain, more probes would not tell.",
        ),
        ({"open_ha": 0.04}, "chance of a loss 20 %)."),
        ({"hiring": HIRING}, " By a contractor, at about 80 $/ha, it would cost less."),
        (
            {"hiring": replace(HIRING, quoted=False), "open_ha": 12.0},
            " 12.0 ha could go either way: probe again there. By a contractor, at about 80 $/ha (not a quote), it "
            "would cost less.",
        ),
        ({"hiring": replace(HIRING, cheaper=Cheaper.LEVEL)}, "chance of a loss 20 %)."),
    ],
)
def test_the_headline_ends_with_what_is_open(files, planned, ledger, fields, end):
    assert files.money.headline(planned(*PADDOCK), ledger_of(ledger, **fields)).endswith(end)


def test_lime_and_gypsum_are_told_apart_from_the_cost(files, planned, ledger):
    made = ledger_of(ledger, amendments=96.0 * 45.0)
    assert "about 98 $/ha (and 45 $/ha of lime and gypsum), 41.0 h" in files.money.headline(planned(*PADDOCK), made)


@pytest.mark.parametrize(
    ("seasons", "said"),
    [((2.0, 3.0), "over two to three seasons"), ((1.0, 1.0), "over one season ("), ((2.5, 2.5), "over 2.5 seasons (")],
)
def test_seasons_are_told_in_words(files, planned, ledger, seasons, said):
    assert said in files.money.headline(planned(*PADDOCK), ledger_of(ledger, seasons=seasons))


def test_a_contractor_who_is_cheaper_is_told_with_what_he_saves(files, us):
    assert files.money.hiring(HIRING) == (
        "The same work costs about 98 $/ha with your own machine and 80 $/ha by a contractor: hiring saves 5 to 30 "
        "$/ha; 31 $/ha of your own is for owning it, and is paid whether it works here or not."
    )
    assert "about 40 $/ac with your own machine and 32 $/ac by a contractor" in plain(us.money.hiring(HIRING))
    assert files.money.hiring(None) == ""


def test_two_that_cannot_be_told_apart_are_called_so(files):
    level = replace(HIRING, cheaper=Cheaper.LEVEL, low=-12.0, quoted=False)
    assert files.money.hiring(level).startswith(
        "The same work costs about 98 $/ha with your own machine and 80 $/ha by a contractor (not a quote): which is "
        "cheaper cannot be told (hiring: 12 $/ha dearer to 30 $/ha cheaper); "
    )


NEXT = pd.Series(
    {
        "soil_type": "deep sand", "controlled_traffic": False, "seasons_low": 2.0, "seasons_high": 3.0,
        "next_depth": NextDepth.DEEPER, "deepest_mm": 650.0, "deeper_mm": 100.0, "draft_low": 0.2, "draft_high": 0.52,
        "last_ripped": np.nan, "seasons_since": np.nan, "last_depth_mm": np.nan, "limit": "", "between_mm": np.nan,
        "between_seasons": np.nan, "between_per_ha": np.nan,
    }
)  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {},
            "only dry soil kept this pass short of the pan: the next goes 100 mm deeper and pulls 20 to 52 % harder.",
        ),
        ({}, "On deep sand, driven on anywhere, loosening lasts 2 to 3 seasons; "),
        ({"controlled_traffic": True, "seasons_high": 2.0}, "with wheels on tramlines, loosening lasts 2 seasons; "),
        ({"next_depth": NextDepth.BROKEN}, "then no deeper, this pass gets below the pan."),
        ({"next_depth": NextDepth.COST}, "then no deeper, breaking what lies deeper costs more than it brings."),
        ({"next_depth": NextDepth.RIPPER}, "then no deeper, 650 mm is all the ripper and its set-up can do."),
        (
            {"next_depth": NextDepth.HELD, "limit": Limit.TINE},
            "then no deeper, held by the break-out rating of a tine.",
        ),
        ({"next_depth": NextDepth.HELD, "limit": Limit.CLAY}, "then no deeper, held by clay not to be brought up."),
        (
            {"between_mm": 400.0, "between_seasons": 2.0, "between_per_ha": 31.0},
            "A pass at 400 mm after 2 seasons, which mends what wheels packed again, leaves about 31 $/ha.",
        ),
        ({"last_ripped": 2019}, " The last pass was in 2019."),
        (
            {"last_ripped": 2019, "seasons_since": 8, "last_depth_mm": 350.0},
            " The last pass was 8 seasons ago, in 2019, and went to 350 mm.",
        ),
    ],
)
def test_when_to_rip_again_is_told_with_its_reasons(files, changes, said):
    assert said in files.money.again(pd.Series(NEXT.to_dict() | changes))


def test_the_next_ripping_is_told_to_us_readers_in_inches(us):
    assert "the next goes 3.9 in deeper" in plain(us.money.again(NEXT))


def test_response_is_told_in_the_readers_unit(us, ledger):
    table = us.money.investment(ledger.investment)
    told = ["1", "57 $/ac", "1.2 seasons", "178 lb/ac", "357 lb/ac", "134 lb/ac", "4 lb/ac"]
    assert [plain(cell) for cell in table.iloc[0]] == told
