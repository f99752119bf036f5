"""The system's Chromium, headless, with a fresh profile and no network, looking at a finished report."""

import importlib.util
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

_OUTPUTS = Path(__file__).parents[1] / "outputs" / "conftest.py"
_spec = importlib.util.spec_from_file_location("outputs_fixtures", _OUTPUTS)
assert _spec is not None
_fixtures = importlib.util.module_from_spec(_spec)
assert _spec.loader is not None
_spec.loader.exec_module(_fixtures)
# The hand-made run of the outputs' tests serves here too.
for _name in ("catalog", "survey", "pan", "surfaces", "zones", "plan", "ledger", "options", "run"):
    globals()[_name] = getattr(_fixtures, _name)


def _program(*names: str) -> str:
    found = next((path for name in names if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip(f"{names[0]} is not installed")
    return found


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[object]:
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    service = pytest.importorskip("selenium.webdriver.chrome.service")
    options = webdriver.ChromeOptions()
    options.binary_location = _program("chromium", "chromium-browser")
    profile = tmp_path_factory.mktemp("profile")
    for argument in (
        "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--force-device-scale-factor=1",
        "--disable-background-networking", "--no-first-run", f"--user-data-dir={profile}",
    ):  # fmt: skip
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=service.Service(_program("chromedriver"), env=dict(os.environ)))
    yield driver
    driver.quit()


@pytest.fixture(scope="session")
def report(run, tmp_path_factory: pytest.TempPathFactory) -> Path:
    from hardpan.outputs.settings import OutputSettings
    from hardpan.outputs.stage import write_outputs

    folder = tmp_path_factory.mktemp("browser") / "out"
    write_outputs(run, OutputSettings(formats=("report",)), folder)
    return folder / "report.html"


sys.modules.setdefault("outputs_fixtures", _fixtures)
