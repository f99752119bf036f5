"""Where the shipped files are: beside the package when installed, in the source tree otherwise."""

from pathlib import Path
from typing import Literal

_PACKAGE = Path(__file__).resolve().parents[1]
_SOURCE_TREE = _PACKAGE.parents[1]


def shipped(kind: Literal["configs", "demo"]) -> Path:
    """Folder of the shipped configuration tables or of the demo paddock."""
    installed = _PACKAGE / "shipped" / kind
    return installed if installed.is_dir() else _SOURCE_TREE / {"configs": "configs", "demo": "data/demo"}[kind]
