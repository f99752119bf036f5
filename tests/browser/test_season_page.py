"""The page of a season on a phone: what is ripped when and with what is seen without pushing it sideways."""

import pytest

from builders.farm_run import farm_run
from hardpan.outputs.farm import zones_of_all
from hardpan.outputs.season_page import write_season_page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    run, path = farm_run(), tmp_path_factory.mktemp("season") / "season.html"
    write_season_page(path, run, zones_of_all(run))
    return path


@pytest.fixture(params=[390, 500, 1200])
def width(browser, page, request):
    screen = {"width": request.param, "height": 844, "deviceScaleFactor": 1, "mobile": request.param < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    browser.get(page.as_uri())
    return request.param


def test_neither_page_nor_calendar_sticks_out_sideways_and_captions_are_read_whole(browser, width):
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    frames = browser.execute_script(
        """
        return [...document.querySelectorAll(".scroll")].map((one) => [
          one.scrollWidth - one.clientWidth,
          one.querySelector("caption").getBoundingClientRect().right - one.getBoundingClientRect().right,
        ]);
        """
    )
    assert frames[0][0] <= 0
    assert max(beyond for _, beyond in frames) < 1


@pytest.mark.usefixtures("width")
def test_the_answer_and_the_map_stand_on_the_first_screen(browser):
    tops = [
        browser.execute_script(f"return document.querySelector('{one}').getBoundingClientRect().top")
        for one in (".headline", ".map svg")
    ]
    assert tops[0] < tops[1] < 600
