"""The page is whole in one file, asks no network, runs nobody's text, and says in words what it shows."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from builders.decision import shipped_catalog
from hardpan.outputs.palette import depth_colours, text_on
from hardpan.outputs.report import facts
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.english.page import CAUTIONS
from hardpan.outputs.words.units import Units
from hardpan.records.ledger import Driver

VOID = {"meta", "input", "br", "img", "link", "hr", "source"}


class Page(HTMLParser):
    """Elements with attributes, visible text, and whether every element is closed."""

    def __init__(self, text: str):
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.visible: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not {"script", "style"} & set(self.open):
            self.visible.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.visible).split())


@pytest.fixture(scope="module")
def source(run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("report") / "out"
    write_outputs(run, OutputSettings(formats=("report",)), folder)
    return (folder / "report.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def page(source):
    return Page(source)


def test_every_element_is_closed(page):
    assert page.open == []


def test_names_are_shown_and_never_run(page, run):
    assert " ".join(run.survey.paddock.name.split()) in page.text
    assert "<b>duplex</b>" in page.text
    assert "Not ripped: =2+5 pipe <u> is excluded" in page.text.replace("\u00a0", " ")
    assert not [tag for tag, _ in page.elements if tag in {"b", "u", "i", "here", "and"}]


def test_there_are_only_the_scripts_of_the_page(page, source):
    scripts = [attributes for tag, attributes in page.elements if tag == "script"]
    assert [attributes.get("type") for attributes in scripts] == ["application/json"] * 2 + [None] * 3
    assert "alert('1')" not in re.findall(r"<script>(.*?)</script>", source, re.DOTALL)[-1]


def test_no_handler_stands_in_an_element(page):
    assert not [name for _, attributes in page.elements for name in attributes if name.startswith("on")]


def test_nothing_is_fetched(page):
    fetching = [
        (tag, name, value)
        for tag, attributes in page.elements
        for name, value in attributes.items()
        if name in {"src", "href", "srcset", "data", "poster"} and not (value or "").startswith(("#", "data:"))
    ]
    assert fetching == []
    policy = next(attributes["content"] for tag, attributes in page.elements if "http-equiv" in attributes)
    assert "default-src 'none'" in policy
    assert "unsafe-eval" not in policy
    assert "http" not in policy


def test_every_picture_is_told_in_words(page):
    pictures = [attributes for _, attributes in page.elements if attributes.get("role") == "img"]
    assert len(pictures) > 8
    assert all(len(attributes.get("aria-label") or "") > 20 for attributes in pictures)
    loose = [
        attributes for tag, attributes in page.elements if tag == "svg" and attributes.get("aria-hidden") != "true"
    ]
    assert loose == []


def test_every_scrolling_part_can_be_reached_and_is_named(page):
    scrolling = [a for _, a in page.elements if "scroll" in (a.get("class") or "").split()]
    assert scrolling
    assert all(a.get("tabindex") == "0" and a.get("role") == "region" and a.get("aria-label") for a in scrolling)


def test_every_control_has_a_label(source):
    for control in re.findall(r"<input[^>]*>", source):
        assert re.search(re.escape(control) + r"[^<]+</label>", source)


def test_the_head_says_the_plan_before_the_doubts_and_the_cautions(page):
    text = page.text
    order = [
        text.index("Rip 21.8 of 24.0 ha"), text.index("One row a zone"), text.index("What could be wrong"),
        text.index("Before you rip"), text.index("Look closer"), text.index("Zone by zone"),
    ]  # fmt: skip
    assert order == sorted(order)
    assert all(caution in text for caution in CAUTIONS)
    assert "forecasts a site left out 11 % better than the best plain yardstick" in text


def test_there_is_one_row_a_zone_ripped_ones_first(source):
    rows = re.findall(r'<tbody class="zone"><tr><th scope="row">(\d+)</th>', source)
    assert rows == ["1", "2", "3", "4"]


def test_the_row_of_a_zone_does_not_say_depth_and_set_up_twice(page):
    text = page.text.replace("\u00a0", " ")
    assert "Plain tines : the pan ends at 26 cm (likely 24 to 28)" in text
    assert text.count("Rip to 30 cm with plain tines") == 1  # zone by zone, further down


def test_no_missing_value_is_shown_as_a_number(page):
    assert not re.search(r"(?<![\w.])(nan|inf|None|NaT)(?![\w.])", page.text)


def test_the_page_says_where_every_number_came_from(page, run):
    assert run.trail.settings_digest in page.text
    assert "Somebody & <i>Other</i>" in page.text
    assert "UTM zone 50S" in page.text
    assert "could not be checked against a source" in page.text


def test_the_cost_is_taken_apart_and_held_against_a_contractor(page):
    text = page.text.replace("\u00a0", " ")
    assert "The cost of 60 $/ha is 30 $/ha for fuel and lubricant, 10 $/ha for labour, 20 $/ha for owning" in text
    assert "a tractor used 500 h a year" in text
    assert text.count("which is cheaper cannot be told") == 2  # among the doubts, and beside the cost


def test_payback_and_break_even_are_told_in_words(page):
    table = page.text[page.text.index("Present value, payback and break-even") :].replace("\u00a0", " ")
    table = table[: table.index("When to rip again")]
    assert "1 140 $/ha 1.2 seasons 0.20 t/ha 0.40 t/ha 0.15 t/ha 4.0 kg/ha" in table
    assert "2 90 $/ha never 0.30 t/ha" in table


def test_the_next_ripping_is_told_in_the_units_of_the_card(page):
    assert "the next goes 10 cm deeper" in page.text
    assert "2 to 4" in page.text


def test_the_page_stays_below_six_megabytes(source):
    assert len(source.encode("utf-8")) < 6_000_000


def test_a_plan_with_nothing_to_rip_is_a_page_too(unripped, tmp_path):
    write_outputs(unripped, OutputSettings(formats=("report",)), tmp_path / "out")
    page = Page((tmp_path / "out" / "report.html").read_text(encoding="utf-8"))
    assert "Leave all 24.0 ha unripped: ripping is not expected to pay on " in page.text
    assert "Nothing to rip; 24.0\u00a0ha left alone." in next(
        a["aria-label"] for _, a in page.elements if (a.get("aria-label") or "").startswith("Depth map")
    )


def test_us_readers_get_their_units(run, tmp_path):
    write_outputs(run, OutputSettings(formats=("report",), units="us"), tmp_path / "out")
    page = Page((tmp_path / "out" / "report.html").read_text(encoding="utf-8"))
    head = page.text[: page.text.index("What could be wrong")]
    assert "Rip 54.0 of 59.3 ac in two depths (11.8 and 17.7 in)" in head
    assert "100 % at 218 psi" in page.text
    assert "11.8 in" in head
    assert not re.search(r"\d\s(ha|mm|cm)\b", head.replace("very long", ""))


def test_a_number_of_the_users_is_told_beside_the_shipped_one(run):
    catalog = shipped_catalog(numbers={"effort": {"slip": {"track": 0.06}}}, machine={"setups": {}})
    told = facts.replaced(replace(run, catalog=catalog), Units.of(OutputSettings(), "AUD"))
    assert told.to_numpy().tolist() == [
        ["effort.slip.track", "0.05 (0.03 to 0.07) 1", "0.06 (0.036 to 0.084) 1", "user"]
    ]


def test_few_sites_are_called_few(run, survey):
    words = speak(Units.of(OutputSettings(), "AUD"), run.catalog)
    assert any(f"{24} insertions at {12} sites carry the map." in doubt for doubt in facts.doubts(run, words))
    assert len(np.unique(survey.profiles.readings["site"])) == 12


def test_a_stopped_insertion_is_no_part_of_the_line(run):
    profiles = facts.zone_profiles(run)
    stops = sum(len(stopped) for _, stopped in profiles.values())
    assert stops == 4
    assert all((stopped["depth_mm"] == 350).all() for _, stopped in profiles.values())


def test_deeper_is_darker_and_the_writing_stays_readable():
    colours = depth_colours([0, 300, 350, 400, 500, 600])

    def luminance(colour: str) -> float:
        # Relative luminance and contrast of the Web Content Accessibility Guidelines 2 (from memory).
        linear = [
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
            for c in (int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
        ]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    ripped = [luminance(colours[depth]) for depth in (300, 350, 400, 500, 600)]
    assert ripped == sorted(ripped, reverse=True)
    for colour in colours.values():
        light, dark = sorted((luminance(colour), luminance(text_on(colour))), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_the_first_doubt_is_what_moves_the_answer_most(run, words):
    drivers = pd.DataFrame({"input": [str(Driver.GAIN), str(Driver.FUEL)], "share": [0.88, 0.07]})
    doubts = facts.doubts(replace(run, ledger=replace(run.ledger, drivers=drivers)), words)
    assert doubts[0].replace("\u00a0", " ") == (
        "What moves the answer most: yield gain of the first season, 88 % of the doubt about the return, then price of "
        "fuel, 7 %."
    )


def test_a_map_that_is_worse_than_a_plain_yardstick_is_admitted(run, words):
    rows = [
        {"variable": variable, "method": method, "folds": folds, "crps": crps}
        for variable, folds, scores in (
            ("peak", "site", (1.2, 1.0)), ("peak", "block", (1.2, 1.0)), ("top", "site", (0.8, 1.0)),
            ("top", "block", (1.1, 1.0)), ("bottom", "site", (1.2, 1.0)),
        )
        for method, crps in zip(("kriging", "soil-type mean"), scores, strict=True)
    ]  # fmt: skip
    surfaces = replace(run.surfaces, scores=pd.DataFrame(rows))
    said = [one for one in facts.doubts(replace(run, surfaces=surfaces), words) if "worse than" in one]
    assert [one.split(":")[0] for one in said] == [
        "The map of the pan's strength (peak) is worse than a plain yardstick (soil-type mean) at a site left out",
        "The map of the pan's top is worse than a plain yardstick (soil-type mean) away from the sites",
    ]


def test_the_chart_of_depths_names_the_best_on_it(page, run):
    rows = run.plan.candidates[run.plan.candidates["allowed"] & (run.plan.candidates["depth_mm"] > 0)]
    best = rows[rows["zone"] == 1].sort_values("net_per_ha").iloc[-1]
    told = f"most from {best['depth_mm'] / 10:g} cm with {best['setup']} tines: {best['net_per_ha']:.0f} $/ha."
    assert told in page.text.replace("\u00a0", " ")


def test_litres_in_the_table_of_all_are_those_of_the_headline(run, words):
    lines = run.ledger.lines.copy()
    lines.loc[(lines["zone"] == "total") & (lines["item"] == "fuel"), "quantity"] = 2871.46
    table = facts.totals(replace(run, ledger=replace(run.ledger, lines=lines)), words)
    fuel = table["quantity"][(lines[lines["zone"] == "total"]["item"] == "fuel").to_numpy()]
    assert words.units.fuel(2871.46).replace("\u00a0", " ") == f"{float(fuel.iloc[0]):,g} L"
