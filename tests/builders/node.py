"""The general JavaScript library for ISO 11783-10 task data, where the machine has Node and the library can be had."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

LIBRARY = "isoxml@1.11.2"


def with_library(folder: Path) -> Path:
    """Folder in which Node finds the library; the test is skipped where it cannot be had."""
    if shutil.which("npm") is None:
        pytest.skip("npm is not installed")
    command = ["npm", "install", LIBRARY, "--no-audit", "--no-fund", "--prefer-offline", "--ignore-scripts"]
    try:
        installed = subprocess.run(command, cwd=folder, capture_output=True, check=False, timeout=120)
    except subprocess.TimeoutExpired:
        pytest.skip("npm could not fetch isoxml in time")
    if installed.returncode != 0:
        pytest.skip("npm could not fetch isoxml")
    return folder


def run_script(script: Path, *arguments: object) -> dict:
    """What a script prints as JSON."""
    command = ["node", script, *map(str, arguments)]
    said = subprocess.run(command, capture_output=True, text=True, check=True, cwd=script.parent)
    return json.loads(said.stdout)
