"""What goes from input to input: where the paddock is, issues, digests and moves; and how an issue is said."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd
import pyproj
import shapely

from hardpan.core.arrays import Floats
from hardpan.core.errors import clean
from hardpan.core.said import Said
from hardpan.records.issues import Issue, Issues
from hardpan.records.survey import DatumMove
from hardpan.spatial.datum import Bounds


def header_again(lines: Sequence[int], among: str, file: str) -> Issues:
    """Remark on rows that say the header once more, none where there are none."""
    if not lines:
        return ()
    what, place = f"the header stands again among the {among}", f"row {listed(lines)}"
    return (warned("damaged-rows", what, "skipped", file=file, place=place),)


def warned(code: str, what: str, done: str, *, file: str = "", place: str = "") -> Issue:
    """Issue of the survey with the outcome *warn*; names in it come from files, so control characters are replaced."""
    what, done, file, place = map(_clean, (what, done, file, place))
    return Issue("survey", code, what, done, file=file, place=place)


def _clean(text: str) -> str:
    """Text without control characters, its quantities kept."""
    if not isinstance(text, Said):
        return clean(text)
    parts = {name: _clean(part) if isinstance(part, str) else part for name, part in text.parts.items()}
    return Said(text.template, **parts)


def listed(items: Sequence[object], most: int = 6) -> str:
    """First `most` items and how many more there are, as text."""
    shown = ", ".join(str(item)[:60] for item in items[:most])
    return shown if len(items) <= most else f"{shown} and {len(items) - most} more"


def attribute(value: object) -> str:
    """Text of an attribute of a feature, "" where it has none."""
    text = "" if value is None else clean(str(value)).strip()
    return "" if text in {"nan", "NaT", "<NA>"} else text


def counted(count: int, what: str) -> str:
    """A count with its noun: "1 reading", "2 readings"."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bundle:
    """A file in memory: one member, or the several that belong together or lie in one archive."""

    name: str
    """Base name of the file."""
    members: Mapping[str, bytes]
    digest: str
    """SHA-256 of the file as it lies on the disk."""

    @property
    def whole(self) -> bytes:
        """The only member."""
        return next(iter(self.members.values()))


@dataclass(slots=True, kw_only=True, eq=False)
class Log:
    """What is gathered on the way from input to input."""

    issues: list[Issue] = field(default_factory=list)
    digests: dict[str, str] = field(default_factory=dict)
    moves: list[DatumMove] = field(default_factory=list)

    @property
    def digest_table(self) -> pd.Series:
        """File name to SHA-256, by name."""
        return pd.Series(self.digests, dtype=object).sort_index()

    def keep(self, bundle: Bundle) -> Bundle:
        """Note the digest of a file and give the file back."""
        self.digests[bundle.name] = bundle.digest
        return bundle

    def note(self, issues: Issues) -> None:
        """Note issues, each once."""
        self.issues.extend(issue for issue in dict.fromkeys(issues) if issue not in self.issues)

    def moved(self, move: DatumMove) -> None:
        """Note a move, once."""
        if move not in self.moves:
            self.moves.append(move)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Axes:
    """Coordinates as read, shape (n_insertions,), NaN where there is none."""

    x: Floats
    y: Floats
    written_as_degrees: bool
    """The cells carry degree signs or letters of the compass, or the columns are called longitude and latitude."""
    issues: tuple[Issue, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Land:
    """Where the paddock is: its boundary in the working CRS, and bounds in degrees."""

    boundary: shapely.Geometry
    crs: pyproj.CRS
    bounds: Bounds
