"""Many paddocks: what is asked for each, and what came of it. Light: the command line reads it before any library."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path


class RunnerKind(StrEnum):
    """How paddocks are worked through."""

    SERIAL = "serial"
    PROCESSES = "processes"
    DASK = "dask"


class Status(StrEnum):
    """What came of a paddock."""

    DONE = "done"
    KEPT = "kept"
    """An earlier result stands: inputs, settings and version are those it was made of."""
    FAILED = "failed"
    ASKED = "asked"
    """In a dry run: would be worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Allotment:
    """What one of several runs on a machine may take of it; None: all that is free."""

    free_bytes: float | None = None
    """Memory that is left for this run, of which `memory.share` may be taken."""
    threads: int | None = None


WHOLE_MACHINE = Allotment()


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One paddock to work out: paths and settings that travel to another process or machine, no data."""

    paddock: str
    place: str
    """Where the list names it."""
    config: Path
    folder: Path
    """Where its result goes; its name is the paddock's slug."""
    defaults: Mapping[str, object]
    """Settings of all paddocks, under those of its own configuration; paths in it are absolute."""
    version: str
    """Of hardpan, that of whoever asks."""
    now: datetime
    dry: bool = False
    """Check and write nothing."""
    earlier: bool = True
    """Whether an earlier result of it could be read, and may be kept if it is still that of the configuration."""
    allotment: Allotment = WHOLE_MACHINE

    @property
    def slug(self) -> str:
        """Name of its folder."""
        return self.folder.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of one paddock."""

    slug: str
    status: Status
    reason: str = ""
    """One line where it failed."""
    seconds: float = 0.0
    peak_bytes: float | None = None
    """Most memory its process held; None where the system does not tell."""
    projected_bytes: float | None = None
    """Memory its run would take; of a dry run only."""
