"""A second language is one more module: nothing that a person reads comes from anywhere else."""

import re
import shutil
import subprocess

import pandas as pd
import pytest

from builders.pages import METRIC, Seen, metric_in
from hardpan.outputs import stage
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.english.labels import LABELS
from hardpan.outputs.words.interface import Words

ACCENTS = str.maketrans("aeiouAEIOU", "áéíóúÁÉÍÓÚ")
PLAIN = re.compile(r"\b(?=[A-Za-z]*[aeiouAEIOU])[A-Za-z]{4,}\b")
"""A word of four letters and more whose vowels carry no accent."""


class Foreign:
    """A part of a language of which every vowel carries an accent."""

    def __init__(self, part):
        self.part = part

    def __getattr__(self, name):
        said = getattr(self.part, name)
        return lambda *args, **more: accented(said(*args, **more))


def accented(said):
    if isinstance(said, str):
        return said.translate(ACCENTS)
    if isinstance(said, pd.DataFrame):
        return said.map(accented).rename(columns=accented)
    if isinstance(said, dict):
        return {accented(key): accented(value) for key, value in said.items()}
    return [accented(one) for one in said] if isinstance(said, list | tuple) else said


def foreign(units, catalog):
    english = speak(units, catalog)
    parts = {
        name: Foreign(getattr(english, name))
        for name in ("zones", "ground", "money", "page", "sites", "after", "applied", "weather")
    }
    return Words(units=units, **parts)


@pytest.fixture(scope="module")
def folder(run, tmp_path_factory):
    """A report and a job card in a language of which every vowel carries an accent."""
    folder = tmp_path_factory.mktemp("foreign") / "out"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stage, "speak", foreign)
        write_outputs(run, OutputSettings(formats=("report", "job-card")), folder)
    return folder


def names_in(run):
    """Words of names and remarks, which are shown as they are given."""
    soils, shut = run.survey.soils["soil_type"], run.survey.paddock.exclusions["name"]
    remarks = [text for issue in run.issues for text in (issue.what, issue.done)]
    given = " ".join([run.survey.paddock.name, *soils, *shut, *remarks, run.survey.crs.name, "hardpan"])
    return set(PLAIN.findall(given))


def test_the_page_has_no_word_of_another_language(folder, run):
    seen = Seen((folder / "report.html").read_text(encoding="utf-8"))
    assert len(seen.pieces) > 150
    plain = {word for piece in seen.pieces for word in PLAIN.findall(piece)}
    assert plain - names_in(run) == set()


def test_the_web_map_has_no_label_of_another_language(folder):
    source = (folder / "report.html").read_text(encoding="utf-8")
    item = source[source.index('id="map-item"') :].split("</script>", 1)[0]
    long = {text for key, text in LABELS.items() if len(text) > 8 and "{" not in text}
    assert {text for text in long if text in item} == set()


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_the_card_has_no_word_of_another_language(folder, run):
    read = subprocess.run(["pdftotext", folder / "job-card.pdf", "-"], capture_output=True, text=True, check=True)
    assert set(PLAIN.findall(read.stdout)) - names_in(run) == set()


def test_a_report_for_us_readers_has_no_metric_unit(run, tmp_path):
    write_outputs(run, OutputSettings(formats=("report", "job-card"), units="us"), tmp_path / "out")
    assert metric_in((tmp_path / "out" / "report.html").read_text(encoding="utf-8")) == []


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_a_card_for_us_operators_has_no_metric_unit(run, tmp_path):
    write_outputs(run, OutputSettings(formats=("job-card",), units="us"), tmp_path / "out")
    card = tmp_path / "out" / "job-card.pdf"
    read = subprocess.run(["pdftotext", "-layout", card, "-"], capture_output=True, text=True, check=True)
    assert METRIC.findall(read.stdout) == []


@pytest.mark.parametrize(
    ("text", "metric"),
    [
        ("the pan ends at 390 mm", True),
        ("24.0\u00a0ha left", True),
        ("depth, cm", True),
        ("35 L/ha", True),
        ("0.5 kg of it", True),
        ("16.7 in, 30 $/ac and 510 gal", False),
        ("MED 1.85 mol/L", False),
        ("22 meq/100 g", False),
        ("UTM zone 50S", False),
        ("lime in 2027", False),
    ],
)
def test_the_check_itself_knows_metric_units(text, metric):
    assert bool(METRIC.search(text)) == metric
