"""The command line in this process: all it writes, down to what compiled libraries write, and how it ends."""

from dataclasses import dataclass

import pytest

from hardpan.cli import app


@dataclass(frozen=True, kw_only=True)
class Told:
    """What a command wrote, and its exit code."""

    returncode: int
    stdout: str
    stderr: str


def tell(capfd: pytest.CaptureFixture[str], *words: object) -> Told:
    """Outcome of `hardpan WORDS`."""
    capfd.readouterr()
    code: object = 0
    try:
        app([*map(str, words)])
    except SystemExit as end:
        code = end.code or 0
    said = capfd.readouterr()
    assert isinstance(code, int)
    return Told(returncode=code, stdout=said.out, stderr=said.err)
