"""The report in a real browser: it draws, switches, tells, fits, prints, and asks no network for anything."""

import base64
import io
import json
import re
import shutil
import subprocess
import time

import numpy as np
import pytest
from PIL import Image

pytestmark = pytest.mark.browser
GROUNDS = ["depth", "pan_bottom_mm", "pan_bottom_sd_mm", "breach_probability", "soils"]


def open_page(browser, report, *, width: int = 1400, dark: bool = False) -> None:
    browser.get_log("browser")
    browser.get_log("performance")
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500},
    )
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": [scheme]})
    browser.get(report.as_uri())
    until(lambda: browser.execute_script("return document.getElementById('map').dataset.ready") == "yes")
    time.sleep(0.3)  # the canvas is painted in the frame after


def until(ready, seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not ready():
        assert time.monotonic() < end, "the page did not become ready"
        time.sleep(0.05)


def map_picture(browser) -> np.ndarray:
    browser.execute_script("document.getElementById('map').scrollIntoView({block: 'center'})")
    time.sleep(0.4)
    element = browser.find_element("id", "map")
    return np.asarray(Image.open(io.BytesIO(element.screenshot_as_png)).convert("RGB")).astype(int)


def point_on_map(browser, east_share: float, north_share: float) -> tuple[float, float]:
    """Where in the window a place of the paddock is, given as shares of its width and height from the south-west."""
    browser.execute_script("document.getElementById('map').scrollIntoView({block: 'center'})")
    return tuple(
        browser.execute_script(
            """
            const [view] = Object.values(Bokeh.index.roots ?? Bokeh.index);
            const frame = view.frame, box = frame.bbox;
            const x = frame.x_scale.compute(520000 + 600 * arguments[0]);
            const y = frame.y_scale.compute(6348000 + 400 * arguments[1]);
            const host = view.el.getBoundingClientRect();
            return [host.left + x, host.top + y];
            """,
            east_share,
            north_share,
        )
    )


def move_to(browser, x: float, y: float, *, click: bool = False) -> None:
    mouse = {"x": x, "y": y, "button": "none"}
    browser.execute_cdp_cmd("Input.dispatchMouseEvent", {"type": "mouseMoved", **mouse})
    if click:
        press = {"x": x, "y": y, "button": "left", "clickCount": 1}
        browser.execute_cdp_cmd("Input.dispatchMouseEvent", {"type": "mousePressed", **press})
        browser.execute_cdp_cmd("Input.dispatchMouseEvent", {"type": "mouseReleased", **press})
    time.sleep(0.5)


def tooltip_text(browser) -> str:
    """Visible text of the map's tooltips, which live in shadow roots."""
    return browser.execute_script(
        """
        const texts = [];
        const walk = (node) => {
          for (const child of node.children ?? []) {
            if (child.className?.includes?.("bk-Tooltip")) texts.push((child.shadowRoot ?? child).textContent);
            if (child.shadowRoot) walk(child.shadowRoot);
            walk(child);
          }
        };
        walk(document.body);
        return texts.join(" ");
        """
    )


@pytest.mark.parametrize("width", [360, 1400])
def test_the_page_opens_without_a_complaint_or_a_request(browser, report, width):
    open_page(browser, report, width=width)
    bad = [entry for entry in browser.get_log("browser") if entry["level"] in {"SEVERE", "WARNING"}]
    assert bad == []
    sent = [
        event["params"]["request"]["url"]
        for entry in browser.get_log("performance")
        if (event := json.loads(entry["message"])["message"])["method"] == "Network.requestWillBeSent"
    ]
    assert [url for url in sent if not url.startswith(("file:", "data:", "blob:"))] == []


@pytest.mark.parametrize("width", [360, 800, 1400])
def test_nothing_sticks_out_sideways(browser, report, width):
    open_page(browser, report, width=width)
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("width", [360, 1400])
def test_the_first_screen_has_headline_and_map(browser, report, width):
    open_page(browser, report, width=width)
    tops = [
        browser.execute_script(f"return document.querySelector('{part}').getBoundingClientRect().top")
        for part in (".headline", ".map svg", "#zones")
    ]
    assert tops[0] < tops[1] < 450
    assert tops[2] < 1000
    assert browser.execute_script("return document.querySelector('.map svg').getBoundingClientRect().width") > 300


def test_the_map_is_drawn_in_the_colours_of_its_key(browser, report):
    open_page(browser, report)
    picture = map_picture(browser)
    keys = browser.execute_script(
        "return [...document.querySelectorAll('#key-ground-depth rect')].map((one) => one.getAttribute('fill'))"
    )
    assert len(keys) == 3
    for colour in keys:
        rgb = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
        assert (np.abs(picture - rgb).max(axis=2) <= 2).mean() > 0.01


def test_every_ground_can_be_chosen_and_looks_different(browser, report):
    open_page(browser, report)
    seen = []
    for name in GROUNDS:
        browser.execute_script(f"document.querySelector('input[value=\"ground-{name}\"]').click()")
        seen.append(map_picture(browser))
        shown = browser.execute_script(
            "return [...document.querySelectorAll('[id^=key-]')].filter((key) => !key.hidden).map((key) => key.id)"
        )
        assert shown == [f"key-ground-{name}"]
    for a in range(len(seen)):
        for b in range(a):
            assert (np.abs(seen[a] - seen[b]).max(axis=2) > 20).mean() > 0.05


@pytest.mark.parametrize("layer", ["borders", "zone-numbers", "probes", "exclusions"])
def test_a_layer_can_be_switched(browser, report, layer):
    open_page(browser, report)
    before = map_picture(browser)
    browser.execute_script(f"document.querySelector('input[value=\"{layer}\"]').click()")
    after = map_picture(browser)
    browser.execute_script(f"document.querySelector('input[value=\"{layer}\"]').click()")
    assert (np.abs(before - after).max(axis=2) > 30).sum() > 50
    assert (np.abs(before - map_picture(browser)).max(axis=2) > 30).sum() == 0


@pytest.mark.parametrize("width", [360, 1400])
def test_every_zone_has_its_number_on_the_map(browser, report, width):
    """Drawn letters are not text of the page: the glyph is asked what it draws, and whether that lies on the map."""
    open_page(browser, report, width=width)
    numbers, inside = browser.execute_script(
        """
        const [view] = Object.values(Bokeh.index.roots ?? Bokeh.index);
        const frame = view.frame, box = frame.bbox;
        const {x, y, number} = view.model.renderers.find((one) => one.name === "zone-numbers").data_source.data;
        const within = (at, scale, low, high) => { const s = scale.compute(at); return s > low + 6 && s < high - 6; };
        return [[...number], [...x].map((at, k) => within(at, frame.x_scale, 0, box.width) &&
                                                   within(y[k], frame.y_scale, 0, box.height))];
        """
    )
    assert set(numbers) == {"1", "2", "3", "4"}
    assert all(inside)


def test_controls_are_reached_and_worked_by_keyboard(browser, report):
    from selenium.webdriver.common.keys import Keys

    open_page(browser, report)
    first = browser.find_element("css selector", "#map-controls input[type=radio]")
    first.send_keys(Keys.ARROW_RIGHT)
    assert browser.execute_script("return document.activeElement.value") == "ground-pan_bottom_mm"
    probes = browser.find_element("css selector", "input[value=probes]")
    probes.send_keys(Keys.SPACE)
    assert probes.is_selected()


@pytest.mark.parametrize("ground", GROUNDS)
def test_hovering_tells_depth_set_up_and_reason_as_text(browser, report, ground):
    open_page(browser, report)
    browser.execute_script(f"document.querySelector('input[value=\"ground-{ground}\"]').click()")
    time.sleep(0.3)
    move_to(browser, *point_on_map(browser, 0.2, 0.6))
    told = tooltip_text(browser)
    assert "30" in told
    assert "plain" in told
    assert "Rip to 30\N{NO-BREAK SPACE}cm with plain tines: the pan ends at 26\N{NO-BREAK SPACE}cm" in told


def test_tapping_a_zone_reads_it_out(browser, report):
    open_page(browser, report)
    move_to(browser, *point_on_map(browser, 0.6, 0.2), click=True)
    told = browser.find_element("id", "told")
    assert re.match(r"Zone 2: 45\scm, .*13\.2\sha\. Rip to 45\scm", told.text)
    assert told.get_attribute("aria-live") == "polite"


def test_nobodys_name_became_an_element(browser, report):
    open_page(browser, report)
    assert browser.execute_script("return document.querySelectorAll('b, u, i, here').length") == 0
    assert browser.title.startswith("Ripping plan: =HYPERLINK")


@pytest.mark.parametrize("dark", [False, True])
def test_text_stands_out_from_the_page(browser, report, dark):
    open_page(browser, report, dark=dark)
    ink, page = browser.execute_script("const s = getComputedStyle(document.body); return [s.color, s.backgroundColor]")

    def luminance(css: str) -> float:
        # Relative luminance of the Web Content Accessibility Guidelines 2 (from memory).
        channels = [int(part) / 255 for part in re.findall(r"\d+", css)[:3]]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dim = sorted((luminance(ink), luminance(page)), reverse=True)
    assert (luminance(page) < 0.2) == dark
    assert (light + 0.05) / (dim + 0.05) >= 7


def test_the_page_prints_without_the_live_map(browser, report, tmp_path):
    open_page(browser, report)
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})
    (tmp_path / "p.pdf").write_bytes(base64.b64decode(printed["data"]))
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler-utils is not installed")
    read = subprocess.run(["pdftotext", "-layout", tmp_path / "p.pdf", "-"], capture_output=True, text=True, check=True)
    text = " ".join(read.stdout.split())
    assert "Rip 21.8 of 24.0 ha" in read.stdout.split("\f")[0]
    assert "Look closer" not in text
    assert "Settings as used" in text
