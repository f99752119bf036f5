"""The season over many paddocks: what is to be ripped, with what, and on which days."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

import pandas as pd

from hardpan.core.arrays import Bools, Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """A paddock that could be ripped this season."""

    paddock: str
    """Name, each once."""
    hours: Mapping[str, float]
    """Ripping it whole takes, by the name of the rig, h; a rig that is left out cannot do it."""
    net: Mapping[str, float]
    """Expected return less costs if it is ripped on the first day, by the name of the rig, money."""
    fit: Bools
    """Days on which its soil is fit, (n_days,)."""
    allowed: Bools | None = None
    """Days on which it may be worked otherwise (stock, spraying, a date it must be done by), (n_days,); None: all."""
    must: bool = False
    """Every plan rips it."""
    waiting_per_day: float = 0.0
    """What each day costs that the whole paddock waits, money; ground ripped earlier no longer waits."""
    x_m: float = 0.0
    y_m: float = 0.0
    """Where it lies, for the way between paddocks, m."""

    @property
    def open_days(self) -> Bools:
        """Days on which it can be worked, (n_days,)."""
        return self.fit if self.allowed is None else self.fit & self.allowed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rig:
    """A tractor with its ripper and driver: it is in one place at a time."""

    name: str
    hours: Floats
    """Hours it can work, by day, (n_days,), at most 24; 0 on days it does not work."""
    fold_h: float = 0.0
    """Folding the ripper for the road, and unfolding it as long again, h."""
    road_kmh: float = 25.0
    """Speed between paddocks, straight lines."""

    def move_h(self, km: float) -> float:
        """Hours of a move of `km`: fold, drive, unfold."""
        return 2.0 * self.fold_h + km / self.road_kmh


class Fate(StrEnum):
    """What becomes of a paddock in a plan of the season."""

    DONE = "done"
    NO_GAIN = "no gain"
    """Ripping it costs more than it returns, on every rig."""
    NEVER_FIT = "never fit"
    """Too few fit and allowed days for it, even if nothing else were worked."""
    DROPPED = "dropped"
    """Other paddocks make more of the days there are."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonPlan:
    """Which paddock is ripped by which rig on which days, and what that is worth."""

    days: tuple[date, ...]
    work: pd.DataFrame
    """One row a day, rig and paddock in the order they are worked: `day` (index into `days`), `rig`, `paddock`, `hours`
    of ripping, `move_h` before it, `share` of the paddock."""
    jobs: pd.DataFrame
    """One row a paddock as given: `paddock`, `fate` (a `Fate`), `rig` ("" where it is left), `first_day`, `last_day`
    (-1 where it is left), `hours`, `net` and `waiting`, money."""
    worth: float
    """Net return of the paddocks ripped less what waiting costs, money."""
    bound: float
    """No plan can be worth more, money."""
    ranked_worth: float
    """The same of the simple plan: paddocks by return per hour, each by the rig that finishes it first; NaN where that
    leaves out a paddock that must be ripped."""

    @property
    def gap(self) -> float:
        """Share of its worth by which a better plan might surpass this one."""
        return max(self.bound - self.worth, 0.0) / max(abs(self.worth), 1e-9) if self.bound > self.worth else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stress:
    """The same paddocks and rigs through the fit days of several years."""

    years: pd.DataFrame
    """One row a year and paddock: `year`, `paddock`, `fate`, `rig`, `last_day`."""
    jobs: pd.DataFrame
    """One row a paddock, those first that are dropped first: `paddock`, `done_share` of the years."""
    worth: Mapping[int, float] = field(default_factory=dict)
    """By year, money."""
