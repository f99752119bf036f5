"""The job card is two pages that say depth, set-up, hours and litres, whatever the names are."""

import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from hardpan.outputs.job_card import write_job_card
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.units import Units
from hardpan.records.advice import Known, Verdict

needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
CARD = OutputSettings(formats=("job-card",))


def pages(path) -> list[str]:
    read = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True)
    return [" ".join(page.split()) for page in read.stdout.split("\f") if page.strip()]


@pytest.fixture(scope="module")
def card(run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("card") / "out"
    write_outputs(run, CARD, folder)
    return folder / "job-card.pdf"


@needs_poppler
def test_the_front_has_the_numbers_of_every_zone(card):
    front, _ = pages(card)
    # Zone 1: 8.6 ha, 0.6 h and 20 L a hectare.
    assert re.search(r"1 30 cm plain tines .*5\.5 km/h 8\.6 ha 5\.2 h 172 L", front)
    assert re.search(r"2 45 cm winged tines .*4\.5 km/h 13\.2 ha", front)
    assert "leave unripped: tines up" in front
    assert "Depths are in centimetres" in front


@needs_poppler
def test_the_front_says_what_the_plan_was_made_for(run, card):
    front, _ = pages(card)
    ripper = run.catalog.ripper
    assert f"Tractor {run.catalog.tractor_name}, {run.catalog.tractor.engine_power.value:,.0f} kW" in front
    assert f"Ripper {run.catalog.ripper_name}, {ripper.tines} tines" in front
    assert f"Crop {run.catalog.crop.says}" in front
    assert f"Plan {run.trail.plan_number}, of 2026-11-25" in front
    assert "Signal lost, or none yet: lift the tines and stop" in front


@needs_poppler
def test_an_operator_sees_how_many_tines_stay_in_and_how_often_he_goes_over(run, tmp_path):
    ripper = run.catalog.ripper.model_copy(update={"tines": 7})
    machine = run.plan.machine.assign(tines=[3, 7])
    zones = run.plan.zones.assign(passes=[1, 2, 0, 0])
    few = replace(
        run,
        catalog=run.catalog.model_copy(update={"ripper": ripper}),
        plan=replace(run.plan, machine=machine, zones=zones),
    )
    write_outputs(few, CARD, tmp_path / "out")
    # Cells of one row are read line by line, so a column is looked at as it is cut.
    front, _ = pages(tmp_path / "out" / "job-card.pdf")
    assert re.search(r"3 of 7: middle", front)
    assert "all 7, 600 mm" in front
    assert re.search(r"4\.5 km/h, 2", front)
    assert front.count("passes") == 1


@needs_poppler
def test_hatched_ground_is_named_with_the_distance_to_lift_in(run, card, tmp_path):
    front, _ = pages(card)
    assert "KEEP OUT (hatched): =2+5 pipe <u>; lift 20 m before it" in front
    closed = run.plan.reasons[-1]
    buried = replace(closed, why=replace(closed.why, lift_m=20.0))
    plan = replace(run.plan, reasons=(*run.plan.reasons[:-1], buried))
    write_outputs(replace(run, plan=plan), CARD, tmp_path / "out")
    front, _ = pages(tmp_path / "out" / "job-card.pdf")
    assert "lift at its edge at the" in front
    assert "to rise are hatched too" in front
    assert "before it" not in front


@needs_poppler
def test_many_exclusions_are_named_in_one_row(run, tmp_path):
    *ground, closed = run.plan.reasons
    shut = run.plan.zones[run.plan.zones["kind"] == "exclusion"]
    numbers = range(closed.zone, closed.zone + 9)
    more = pd.concat([run.plan.zones.iloc[:-1], *(shut.assign(zone=zone) for zone in numbers)], ignore_index=True)
    rocks = [replace(closed, zone=zone, why=replace(closed.why, name=f"rock {zone % 2}")) for zone in numbers]
    plan = replace(run.plan, zones=more, reasons=(*ground, *rocks))
    card = tmp_path / "card.pdf"
    _write(replace(run, plan=plan), card)
    front, _ = pages(card)
    assert re.search(r"KEEP OUT \(hatched\): rock [01], rock [01]; lift", front)
    assert front.count("KEEP OUT") == 1


@needs_poppler
def test_each_zone_has_the_bearing_of_its_longest_runs(run, tmp_path):
    table = run.zones.table.assign(heading_deg=[30.0, 120.0, 0.0, 0.0])
    write_outputs(replace(run, zones=replace(run.zones, table=table)), CARD, tmp_path / "out")
    front, _ = pages(tmp_path / "out" / "job-card.pdf")
    # Within the angle between grid and true north of the zone, 1 degree at most here.
    assert re.search(r"(29|30|31)°/(209|210|211)°", front)
    assert re.search(r"(119|120|121)°/(299|300|301)°", front)


@needs_poppler
def test_the_back_has_the_checks_the_advice_and_the_cautions(card):
    _, back = pages(card)
    for told in (
        "Before you start", "before-you-dig", "dig to 45 cm", "nose-up", "shear bolts", "behind the tines",
        "midway between two tines", "Grease", "check strips", "Cautions", "Who to ask", "Ask the agronomist",
        "Roll behind the tines (zone 2)", "not known", "Setting up", "60 % of the working depth, 27 cm",
        "Moisture: ready; moist to 50 cm (dug or probed)", "Signal lost, or none yet: lift the tines and stop",
    ):  # fmt: skip
        assert told in back


@needs_poppler
@pytest.mark.parametrize(
    ("state", "warning"),
    [
        ({"verdict": Verdict.TOO_WET, "known": Known.HAND_TEST}, "DO NOT RIP NOW"),
        ({"verdict": Verdict.UNKNOWN, "known": Known.NOT_GIVEN}, "is not known: dig and test by hand before starting"),
    ],
)
def test_a_state_of_the_soil_that_is_wrong_or_not_known_comes_before_anything_else(run, tmp_path, state, warning):
    found = replace(run, plan=replace(run.plan, moisture=run.plan.moisture.assign(**state)))
    write_outputs(found, CARD, tmp_path / "out")
    front = pages(tmp_path / "out" / "job-card.pdf")[0]
    assert front.index("Ripping:") < front.index(warning) < front.index("Depths are in")


@needs_poppler
@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler-utils is not installed")
def test_both_pages_are_a4_and_drawn(card, tmp_path):
    told = subprocess.run(["pdfinfo", card], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages:\s+2", told)
    assert "A4" in told
    subprocess.run(["pdftoppm", "-r", "30", "-gray", card, tmp_path / "page"], check=True)
    for page in sorted(tmp_path.glob("page*.pgm")):
        assert np.fromfile(page, dtype="u1")[20:].std() > 15  # not a blank sheet


def test_the_same_run_gives_the_same_card(run, card, tmp_path):
    write_outputs(run, CARD, tmp_path / "out")
    assert (tmp_path / "out" / "job-card.pdf").read_bytes() == card.read_bytes()


@needs_poppler
def test_nothing_to_rip_is_a_card_too(unripped, tmp_path):
    write_outputs(unripped, CARD, tmp_path / "out")
    front, back = pages(tmp_path / "out" / "job-card.pdf")
    assert "leave unripped" in front
    assert "All ripping 0.0 ha" in front
    assert "Cautions" in back


@needs_poppler
def test_many_zones_are_put_together_and_stay_on_one_page(run, tmp_path):
    plan, machine = run.plan.zones, run.plan.machine
    many = pd.concat([plan.iloc[[k % 2]] for k in range(40)], ignore_index=True).assign(zone=np.arange(1, 41))
    drawn = pd.concat([machine.iloc[[k % 2]] for k in range(40)], ignore_index=True).assign(zone=np.arange(1, 41))
    table = run.zones.table
    ways = pd.concat([table.iloc[[k % 2]] for k in range(40)], ignore_index=True).assign(zone=np.arange(1, 41))
    name = replace(run.survey, paddock=replace(run.survey.paddock, name="P" * 500))
    taken = pd.DataFrame(
        [
            {"zone": str(zone), "item": item, "quantity": quantity}
            for zone in range(1, 41)
            for item, quantity in (("hours", 2.0), ("fuel", 100.0))
        ]
    )
    crowded = replace(
        run,
        survey=name,
        ledger=replace(run.ledger, lines=taken),
        plan=replace(run.plan, zones=many, machine=drawn, reasons=()),
        zones=replace(run.zones, table=ways),
    )
    card = tmp_path / "card.pdf"
    _write(crowded, card)
    front, _ = pages(card)
    assert re.search(r"20 .*30 cm plain tines .* 40\.0 h 2,000 L", front)
    assert "All ripping" in front


@needs_poppler
def test_us_operators_get_their_units(run, tmp_path):
    write_outputs(run, replace_units(), tmp_path / "out")
    front, _ = pages(tmp_path / "out" / "job-card.pdf")
    assert re.search(r"1 11\.8 in plain tines .*3\.4 mph 21\.3 ac 5\.2 h 45 gal", front)


def replace_units() -> OutputSettings:
    return OutputSettings(formats=("job-card",), units="us")


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("Long Block", "Long Block"),
        ("Änger øst", "Änger øst"),
        ("ريف شمالي", "…"),
        ("北の畑 7", "… 7"),
        ("Top שדה חרוש 3", "Top … 3"),
    ],
)
@needs_poppler
def test_letters_the_card_cannot_set_are_left_out_and_told(run, tmp_path, name, shown):
    named = replace(run, survey=replace(run.survey, paddock=replace(run.survey.paddock, name=name)))
    write_outputs(named, CARD, tmp_path / "out")
    front, _ = pages(tmp_path / "out" / "job-card.pdf")
    assert front.startswith(f"Ripping: {shown} ⚠ Whether the soil")
    told = pd.read_csv(tmp_path / "out" / "issues.csv")["code"]
    assert ("card-name" in set(told)) == (name != shown)


def test_letters_of_other_scripts_and_long_names_do_no_harm(run, tmp_path):
    names = ["ريف شمالي", "北の畑", "x" * 5000, "<font size=99>&amp;", "\x00\x07\n"]
    for number, name in enumerate(names):
        paddock = replace(run.survey.paddock, name=name)
        named = replace(run, survey=replace(run.survey, paddock=paddock))
        write_outputs(named, CARD, tmp_path / str(number))
        assert (tmp_path / str(number) / "job-card.pdf").read_bytes().startswith(b"%PDF")


def _write(run, path) -> None:
    write_job_card(
        path, run, told=["Roll it."], setting_up=["Level it."],
        colours=depth_colours(run.plan.zones["depth_mm"]), depth_map=_png(), lost="Signal lost: stop.",
        words=speak(Units.of(CARD, "AUD"), run.catalog),
    )  # fmt: skip


def _png() -> bytes:
    import io

    from matplotlib.figure import Figure

    stream = io.BytesIO()
    Figure(figsize=(6, 4)).savefig(stream, format="png")
    return stream.getvalue()
