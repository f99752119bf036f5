"""Where a result comes from, and how long each stage took."""

import hashlib
import importlib.metadata
import json
import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime

import pandas as pd

import hardpan
from hardpan.core.settings import Settings
from hardpan.core.threads import Progress, silent
from hardpan.records.trail import Trail

logger = logging.getLogger(__name__)

LIBRARIES = (
    "fiona", "geopandas", "numpy", "pandas", "pyogrio", "pyproj", "rasterio", "scikit-learn", "scipy", "shapely",
    "xarray",
)  # fmt: skip
"""Libraries whose version can move a number."""


def unheard(stage: str) -> None:
    """Nobody is told that `stage` begins."""
    del stage


@dataclass(kw_only=True)
class Clock:
    """Times the stages of one run and tells a listener how far it is."""

    now: datetime
    """When the run began, UTC; passed in, so that no stage reads a clock."""
    announce: Callable[[str], None] = unheard
    """Called with the name of each stage as it begins."""
    progress: Progress = silent
    """Called with the share done within a stage."""
    seconds: dict[str, float] = field(default_factory=dict)

    @property
    def started(self) -> str:
        """When the run began, UTC, ISO 8601."""
        return self.now.strftime("%Y-%m-%dT%H:%M:%SZ")

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time one stage; a name that comes twice adds up."""
        self.announce(name)
        logger.info("%s begins", name)
        begun = time.perf_counter()
        yield
        spent = time.perf_counter() - begun
        self.seconds[name] = self.seconds.get(name, 0.0) + spent
        logger.info("%s done in %.2f s", name, spent)


def trail_of(config: Settings, digests: pd.Series, seed: int, clock: Clock) -> Trail:
    """Provenance of a result that rests on tables of settings and their files; paths are cut to file names."""
    settings, digest = settings_of(config)
    return Trail(
        version=hardpan.__version__,
        versions=pd.Series({name: importlib.metadata.version(name) for name in LIBRARIES}),
        settings=settings,
        settings_digest=digest,
        inputs=digests,
        seed=seed,
        started=clock.started,
        timings_s=pd.Series(clock.seconds, dtype=float),
    )


def settings_of(config: Settings) -> tuple[dict[str, object], str]:
    """Tables of settings as used, paths cut to file names, and their SHA-256."""
    settings = _named(config.model_dump(mode="json", by_alias=True), config)
    canonical = json.dumps(settings, sort_keys=True, ensure_ascii=False)
    return settings, hashlib.sha256(canonical.encode()).hexdigest()


def _named(dumped: dict[str, object], config: Settings) -> dict[str, object]:
    for name, value in dumped.items():
        given = getattr(config, name)
        if isinstance(value, dict):
            dumped[name] = {key: _file_name(one, getattr(given, key, None)) for key, one in value.items()}
        else:
            dumped[name] = _file_name(value, given)
    return dumped


def _file_name(value: object, given: object) -> object:
    if hasattr(given, "name") and hasattr(given, "suffix"):
        return given.name
    if isinstance(given, tuple) and isinstance(value, list):
        return [_file_name(part, original) for part, original in zip(value, given, strict=True)]
    return value
