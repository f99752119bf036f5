"""What was dropped, filled, assumed or extrapolated, kept all the way to the report."""

from dataclasses import KW_ONLY, dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """What became of an input."""

    ACCEPT = "accept"
    """Loaded, nothing to say."""
    WARN = "warn"
    """Loaded, and this was changed, dropped or assumed."""


@dataclass(frozen=True, slots=True)
class Issue:
    """One thing a user should know of."""

    stage: str
    """Room that says so: survey, pan, surfaces, zones, prescription, costs, outputs."""
    code: str
    """Short kebab-case name of the kind of issue, for filtering."""
    what: str
    """What was found, one sentence."""
    done: str
    """What was done about it, one sentence."""
    _: KW_ONLY
    outcome: Outcome = Outcome.WARN
    file: str = ""
    """Base name of the file, empty where none is concerned."""
    place: str = ""
    """Row, feature, site or zone, as a user would look it up."""
    zones: tuple[int, ...] = ()
    """Numbers of the zones it is about, where they may still change; they are the place then."""


Issues = tuple[Issue, ...]
