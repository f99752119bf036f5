"""What is known of a paddock before anything is decided, and a whole run, as the outputs receive it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from hardpan.records.alternatives import MachineRow, Offer
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issues
from hardpan.records.ledger import Ledger, Rates
from hardpan.records.options import Options
from hardpan.records.pan import PanFeatures
from hardpan.records.plan import Plan, Strips
from hardpan.records.probing import Access, SitePlan
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Survey
from hardpan.records.trail import Trail
from hardpan.records.trial import TrialResult
from hardpan.records.weather import DailyTable, Outlook, SeasonWater
from hardpan.records.zones import Zones


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What was read of a paddock, what each insertion says of its pan, and the maps of it."""

    survey: Survey
    pan: PanFeatures
    surfaces: Surfaces


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """What is known before anything is mapped."""

    catalog: Catalog
    survey: Survey
    pan: PanFeatures
    rates: Rates
    access: Access
    """Gate and wheel tracks, for whoever probes again."""
    offers: tuple[Offer, ...] = ()
    """Other machines to compare."""
    weather: DailyTable | None = None
    water: SeasonWater | None = None
    """What it says of the soil on the day of the plan; both None where no weather is given."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PaddockRun:
    """Everything one run found, in the order it was found."""

    survey: Survey
    pan: PanFeatures
    surfaces: Surfaces
    catalog: Catalog
    rates: Rates
    options: Options
    zones: Zones
    plan: Plan
    ledger: Ledger
    trail: Trail
    strips: Strips | None = None
    """Check strips laid into zones and plan; None: none are."""
    machines: tuple[MachineRow, ...] = ()
    """The present machine beside others, without check strips; none where no others were given."""
    moves: pd.DataFrame | None = None
    """One row a shipped number that nobody could check, largest first: `key`, `money` by which it moves the expected
    return; None: nobody asked."""
    further: SitePlan | None = None
    """Where probing again is worth most; None: nobody asked, or nothing is open."""
    outlook: Outlook | None = None
    """What daily weather says of the plan; None: none was given."""

    @property
    def evidence(self) -> Evidence:
        """What the decision rests on, to decide anew at other prices or gains."""
        return Evidence(survey=self.survey, pan=self.pan, surfaces=self.surfaces)

    @property
    def issues(self) -> Issues:
        """All issues, stage after stage."""
        stages = (self.survey, self.pan, self.surfaces, self.rates, self.options, self.zones, self.plan, self.ledger)
        ahead = () if self.outlook is None else self.outlook.issues
        return (*(issue for stage in stages for issue in stage.issues), *ahead)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialRun:
    """A trial, as the outputs receive it."""

    name: str
    """Of the paddock, "" where no run is known."""
    result: TrialResult
    catalog: Catalog | None
    """That of the run; None without one."""
    display: Mapping[str, Any]
    """`[outputs]` of the run, whose readers read this too; empty without one."""
    trail: Trail
