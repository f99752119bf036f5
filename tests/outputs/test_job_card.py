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
    assert re.search(r"1 30 cm plain tines 600 mm 5\.5 km/h 8\.6 ha 5\.2 h 172 L", front)
    assert re.search(r"2 45 cm winged tines 600 mm 4\.5 km/h 13\.2 ha", front)
    assert "leave unripped: tines up" in front
    assert "KEEP OUT (hatched)" in front
    assert "Depths are in centimetres" in front


@needs_poppler
def test_the_back_has_the_checks_the_advice_and_the_cautions(card):
    _, back = pages(card)
    for told in (
        "Before you start", "before-you-dig", "dig to 45 cm", "nose-up", "shear bolts", "behind the tines",
        "midway between two tines", "Grease", "check strips", "Cautions", "Who to ask", "Ask the agronomist",
        "Roll behind the tines (zone 2)", "not known", "Setting up", "60% of the working depth, 27 cm",
        "Moisture: ready; moist to 50 cm (dug or probed)", "Signal lost, or none yet: lift the tines and stop",
    ):  # fmt: skip
        assert told in back


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
    plan = run.plan.zones
    many = pd.concat([plan.iloc[[k % 2]] for k in range(40)], ignore_index=True).assign(zone=np.arange(1, 41))
    quantities = {zone: {"hours": 2.0, "fuel_l": 100.0} for zone in range(1, 41)}
    card = tmp_path / "card.pdf"
    write_job_card(
        card, many, quantities, name="P" * 500, told=["Roll it."], setting_up=["Level it."],
        colours=depth_colours(many["depth_mm"]), depth_map=_png(), lost="Signal lost: stop.", travel=run.zones,
        words=speak(Units.of(CARD, "AUD"), run.catalog),
    )  # fmt: skip
    front, _ = pages(card)
    assert re.search(r"20 zones 30 cm plain tines .* 40\.0 h 2,000 L", front)
    assert "All ripping" in front


@needs_poppler
def test_us_operators_get_their_units(run, tmp_path):
    write_outputs(run, replace_units(), tmp_path / "out")
    front, _ = pages(tmp_path / "out" / "job-card.pdf")
    assert re.search(r"1 11\.8 in plain tines 24 in 3\.4 mph 21\.3 ac 5\.2 h 45 gal", front)


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
    assert front.startswith(f"Ripping: {shown} Depths")
    told = pd.read_csv(tmp_path / "out" / "issues.csv")["code"]
    assert ("card-name" in set(told)) == (name != shown)


def test_letters_of_other_scripts_and_long_names_do_no_harm(run, tmp_path):
    names = ["ريف شمالي", "北の畑", "x" * 5000, "<font size=99>&amp;", "\x00\x07\n"]
    for number, name in enumerate(names):
        paddock = replace(run.survey.paddock, name=name)
        named = replace(run, survey=replace(run.survey, paddock=paddock))
        write_outputs(named, CARD, tmp_path / str(number))
        assert (tmp_path / str(number) / "job-card.pdf").read_bytes().startswith(b"%PDF")


def _png() -> bytes:
    import io

    from matplotlib.figure import Figure

    stream = io.BytesIO()
    Figure(figsize=(6, 4)).savefig(stream, format="png")
    return stream.getvalue()
