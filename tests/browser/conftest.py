"""The system's Chromium, headless, with a fresh profile and no network, looking at a finished report."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from builders.outputs import (  # noqa: F401 - fixtures
    catalog,
    ledger,
    options,
    pan,
    plan,
    run,
    surfaces,
    survey,
    told,
    unripped,
    words,
    zones,
)


def _program(*names: str) -> str:
    found = next((path for name in names if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip(f"{names[0]} is not installed")
    return found


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[object]:
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    service = pytest.importorskip("selenium.webdriver.chrome.service")
    chrome = webdriver.ChromeOptions()
    chrome.binary_location = _program("chromium", "chromium-browser")
    profile = tmp_path_factory.mktemp("profile")
    for argument in (
        "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--force-device-scale-factor=1",
        "--disable-background-networking", "--no-first-run", f"--user-data-dir={profile}",
    ):  # fmt: skip
        chrome.add_argument(argument)
    chrome.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=chrome, service=service.Service(_program("chromedriver"), env=dict(os.environ)))
    yield driver
    driver.quit()


@pytest.fixture(scope="session")
def report(run, tmp_path_factory: pytest.TempPathFactory) -> Path:  # noqa: F811 - the fixture
    from hardpan.outputs.settings import OutputSettings
    from hardpan.outputs.stage import write_outputs

    folder = tmp_path_factory.mktemp("browser") / "out"
    write_outputs(run, OutputSettings(formats=("report",)), folder)
    return folder / "report.html"
