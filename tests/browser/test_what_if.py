"""The sliders of the page against the run itself, made again with the settings that the page writes out."""

import tomllib
from datetime import UTC, datetime

import pytest

from browser.test_report_page import open_page
from hardpan.core.settings import parse
from hardpan.core.shipped import shipped
from hardpan.costs.stage import tally
from hardpan.money.stage import price_machines
from hardpan.options.stage import weigh_options
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.prescription.stage import prescribe, settle_zones
from hardpan.run.catalog import read_catalog
from hardpan.run.chain import run_paddock
from hardpan.run.config import Config, read_toml
from hardpan.run.manifest import Clock

pytestmark = pytest.mark.browser

FOLDER = shipped("demo")
COARSE = {"surfaces": {"cell_m": 15, "draws": 60}, "strips": {"pairs": 0}}
"""The demo on fewer cells and draws, without strips, which other prices lay elsewhere: what is compared is two ways to
one number."""

POINTS = (
    {"grain": -45}, {"gain": 70}, {"cost": -50}, {"grain": -20, "fuel": 40, "cost": 30, "discount": 8},
)  # fmt: skip
"""How many steps each slider is moved."""

MORE_POINTS = (
    {"grain": 40}, {"fuel": 60}, {"gain": -60}, {"cost": 55}, {"discount": 25},
    {"grain": 30, "fuel": -35, "gain": 45, "cost": -25, "discount": -6},
)  # fmt: skip
"""The same, each another run: for the slow tests."""


def merged(base, changes):
    """Tables with those of `changes` laid over them."""
    out = dict(base)
    for key, value in changes.items():
        out[key] = merged(out[key], value) if isinstance(value, dict) and isinstance(out.get(key), dict) else value
    return out


@pytest.fixture(scope="module")
def values():
    return merged(read_toml(FOLDER / "demo.toml"), COARSE)


@pytest.fixture(scope="module")
def first(values):
    return run_paddock(
        parse(Config, values, file="demo.toml", folder=FOLDER), Clock(now=datetime(2027, 3, 1, tzinfo=UTC))
    )


def page_of(first, tmp_path_factory, **settings):
    folder = tmp_path_factory.mktemp("what_if") / "out"
    write_outputs(first, OutputSettings(formats=("report",), **settings), folder)
    return folder / "report.html"


@pytest.fixture(scope="module")
def page(first, tmp_path_factory):
    return page_of(first, tmp_path_factory)


def again(first, values):
    """Plan and ledger with other settings on the same readings, maps and zones; the ledger too of those of them joined
    that are worked alike now, as a run joins them."""
    config = parse(Config, values, file="demo.toml", folder=FOLDER)
    catalog, asked = read_catalog(config), config.decision
    rates = price_machines(
        catalog, config.season, first.survey.soil_types, n_draws=config.surfaces.draws, seed=config.paddock.seed
    )
    options = weigh_options(first.evidence, catalog, rates, asked=asked)
    plan = prescribe(first.zones, options, first.evidence, catalog, rates, asked=asked)
    _, joined = settle_zones(first.zones, options, first.evidence, catalog, rates, asked=asked)
    return plan, *(tally(one, options, catalog, rates, asked=asked) for one in (plan, joined))


def move(browser, steps):
    for key, step in steps.items():
        browser.execute_script(
            """
            const input = document.getElementById("lever-" + arguments[0]);
            input.value = arguments[1];
            input.dispatchEvent(new Event("input"));
            """,
            key,
            step,
        )


def lines_of(browser):
    return browser.find_element("id", "lines").text


def seen(browser):
    """What the page tells of each zone, and of all."""
    zones = browser.execute_script(
        "return [...document.querySelectorAll('#tried tbody tr')].map((row) => ({...row.dataset}))"
    )
    total = browser.execute_script("return {...document.getElementById('outcome').dataset}")
    return {int(row["zone"]): row for row in zones}, {name: float(value) for name, value in total.items()}


def assert_equal(browser, plan, *ledgers):
    zones, total = seen(browser)
    ground = plan.zones[plan.zones["kind"] == "ground"].set_index("zone")
    assert set(zones) == set(ground.index)
    for number, row in zones.items():
        assert float(row["depth"]) == ground.loc[number, "depth_mm"]
        assert float(row["net"]) == pytest.approx(ground.loc[number, "net_per_ha"], rel=0.01, abs=0.05)
    for ours in (ledger.strategies.iloc[0] for ledger in ledgers):
        assert total["ha"] == pytest.approx(ours["ripped_ha"], rel=1e-6)
        for name, column in {"net": "net", "cost": "cost", "hours": "hours", "litres": "fuel_l"}.items():
            assert total[name] == pytest.approx(ours[column], rel=0.01)


def test_unmoved_sliders_tell_the_plan(browser, page, first):
    open_page(browser, page)
    assert_equal(browser, first.plan, first.ledger)
    headline, outcome = (browser.find_element("css selector", one).text for one in (".headline", "#outcome"))
    for part in (
        outcome.split(" at ")[0],
        outcome.split("about ")[1].split(",")[0],
        outcome.split("return ")[1].split(",")[0],
    ):
        assert part in headline
    assert tomllib.loads(lines_of(browser)) == {}


@pytest.mark.parametrize(
    "steps",
    [*POINTS, *(pytest.param(steps, marks=pytest.mark.slow) for steps in MORE_POINTS)],
    ids=lambda steps: " ".join(f"{key}{step:+d}" for key, step in steps.items()),
)
def test_moved_sliders_tell_what_a_run_with_the_written_lines_tells(browser, page, first, values, steps):
    open_page(browser, page)
    move(browser, steps)
    assert_equal(browser, *again(first, merged(values, tomllib.loads(lines_of(browser)))))


def test_prices_turn_the_plan_over(browser, page):
    open_page(browser, page)
    before = seen(browser)[1]["ha"]
    move(browser, {"grain": 60})
    assert seen(browser)[1]["ha"] > before
    move(browser, {"grain": 0, "gain": -100})
    assert seen(browser)[1]["ha"] == 0
    assert "Leave all" in browser.find_element("id", "outcome").text
    browser.find_element("id", "reset").click()
    assert seen(browser)[1]["ha"] == before
    assert browser.find_element("id", "lever-gain").get_attribute("value") == "0"


def test_lines_in_us_units_are_read_as_what_they_say(browser, first, values, tmp_path_factory):
    us = {"units": "us", "display_unit": "in"}
    open_page(browser, page_of(first, tmp_path_factory, **us))
    move(browser, {"grain": 30, "fuel": 30, "gain": 20, "cost": 20, "discount": 5})
    assert "/ha" not in lines_of(browser)
    # the plan on the page was made in steps of 25 mm
    changes = {**tomllib.loads(lines_of(browser)), "outputs": us, "prescription": {"step_mm": 25}}
    assert_equal(browser, *again(first, merged(values, changes)))


@pytest.mark.parametrize("width", [360, 1400])
def test_the_sliders_fit_and_move_by_keyboard(browser, page, width):
    from selenium.webdriver.common.keys import Keys

    open_page(browser, page, width=width)
    slider = browser.find_element("id", "lever-fuel")
    slider.send_keys(Keys.ARROW_RIGHT)
    assert slider.get_attribute("value") == "1"
    read_out = slider.get_attribute("aria-valuetext").replace("\N{NO-BREAK SPACE}", " ")
    assert read_out == browser.find_element("id", "value-fuel").text
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    assert slider.rect["height"] >= 44
