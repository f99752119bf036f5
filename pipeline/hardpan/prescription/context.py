"""One paddock's zones with all that is known of them, and what is decided of them: the records of this room."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options import (
    LEAVE,
    Economy,
    Ground,
    ZoneEvaluation,
    after_costs,
    build_ground,
    ceiling_rules,
    economy_on,
    field_efficiency,
    into_clay_mm,
    is_repellent,
    judge,
    positions,
    shares_of,
    zone_facts,
)
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings, PrescriptionSettings, SeasonSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.plan import Tried
from hardpan.records.quantity import Quantity
from hardpan.records.reasons import Pull
from hardpan.records.surfaces import Surfaces
from hardpan.records.weather import SoilWater
from hardpan.records.zones import Zones

SETTING_ROUNDS = 4
"""The price of a further zone moves a choice, and a choice moves who pays it; it has settled by then or never does."""

ROUNDING = 1e-12
"""Shares of a zone are sums of floats."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Context:
    """What a decision rests on; arrays and tables follow the rows of `table`."""

    table: gpd.GeoDataFrame
    """`Zones.table`."""
    options: Options
    economy: Economy
    catalog: Catalog
    rates: Rates
    prescription: PrescriptionSettings
    season: SeasonSettings
    zone_ha: Floats
    """(n_zones, n_nodes): area of each node in each zone; rows add up to the zone, 0 for exclusions."""
    turning: Floats
    """(n_zones, n_options): time a hectare takes over that at the usual field efficiency."""
    facts: pd.DataFrame
    """What the decision table reads, one row a zone."""
    judged: pd.DataFrame
    """`conditions.judge` of the facts."""
    after: Floats
    """(n_zones, n_draws): money per ha for the work after the pass that the rules met in each zone ask for."""
    capped_by: Sequence[int]
    """Rule that keeps tines above clay in each zone, by its place in the catalog; -1 where none does."""
    capped_chance: Floats
    """(n_zones,): chance that the clay of each zone is hostile, 1 where no rule but the soil type says so."""
    kept_m: Mapping[str, float]
    """Name of each exclusion to the widest strip kept around it."""
    lift_m: Mapping[str, float]
    """Name of each exclusion to the ground beside it in which the tines rise, 0 where it is not buried."""
    soft_to_mm: float | None
    """`PanFeatures.soft_to_mm`."""
    read_to_mm: float
    """`MapVerdict.read_to_mm`."""

    def repellent(self, row: int) -> bool:
        """Whether a rule on water repellence is met in the zone of a row."""
        return is_repellent(self.catalog.rules, self.judged, self.table.index[row])

    def water(self, row: int) -> Quantity | None:
        """Plant-available water of the zone of a row, None for exclusions."""
        soil = self.catalog.soils.get(str(self.table["soil_type"].iloc[row]))
        return None if soil is None else self.catalog.available_water[soil.water_texture]

    def soil_water(self, row: int) -> SoilWater | None:
        """What the season's weather says of the soil of the zone of a row, None where there is none."""
        return self.catalog.soil_water.get(str(self.table["soil_type"].iloc[row]))

    def main_soil(self, row: int) -> int:
        """Soil type, its code, of the node that most of the zone of a row lies on."""
        return int(self.ground.soil[self.weights[row].argmax()])

    def economy_of(self, row: int) -> Economy:
        """The economy with the work after the pass that is asked for in the zone of a row."""
        return replace(self.economy, after=np.broadcast_to(self.after[row], self.economy.after.shape))

    @property
    def setup(self) -> Ints:
        """(n_options,): position of each option's set-up in the catalogue, -1 for leaving."""
        return positions(self.options.table["setup"], list(self.catalog.setups))

    @property
    def depth_mm(self) -> Floats:
        """(n_options,): working depth."""
        return self.options.table["depth_mm"].to_numpy(float)

    @property
    def useful(self) -> Bools:
        """(n_nodes, n_options): the machine pulls the option, and it reaches what it must to be of use."""
        into_mm = into_clay_mm(self.options.table, self.catalog)
        return self.ground.useful(self.depth_mm, into_mm, self.economy.pullable())

    @property
    def in_reach(self) -> Bools:
        """(n_nodes, n_options): the option reaches what it must to be of use, whatever pulls it."""
        into_mm, by_any = into_clay_mm(self.options.table, self.catalog), np.ones_like(self.economy.pullable())
        return self.ground.useful(self.depth_mm, into_mm, by_any)

    @property
    def slack(self) -> float:
        """Share of a zone that may pass a limit."""
        return self.prescription.limit_slack + ROUNDING

    @property
    def ground(self) -> Ground:
        """All ground."""
        return self.economy.ground

    @property
    def weights(self) -> Floats:
        """(n_zones, n_nodes): share of each zone a node stands for."""
        return shares_of(self.zone_ha)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ZoneOutcome:
    """What comes of the chosen option and its runner-up in one zone."""

    machine: dict[str, object]
    """Row of `Plan.machine`."""
    speed_kmh: float
    pull: Pull
    worth: Mapping[int, Floats]
    """Worth of what each option that another way takes breaks in the zone, money, (n_draws,)."""
    returns: Floats
    """(n_draws, 2): money per zone of the chosen option and the runner-up."""
    hours: Floats
    """(n_draws,): machine hours in the zone with the chosen option."""
    fuel_l: Floats
    """(n_draws,): the same of fuel, L."""
    loosened: float
    breach: float
    bottom_mm: Floats
    """(n_draws,): mean bottom of the zone's pan in each draw; NaN where it has none."""
    bottom_range_mm: tuple[float, float, float]
    """Mean, 5 and 95 % of the bottom over draws and ground; NaN where there never is a pan."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settled:
    """What each zone is worked with, and what that costs beyond the work; arrays follow the zones."""

    evaluation: ZoneEvaluation
    """With the cost of setting each zone and of changing the fittings for it."""
    chosen: Ints
    """Option."""
    fitted: Ints
    """(n_fitted,): positions of the set-ups fitted."""
    setting: Floats
    """Money for setting each zone; 0 for exclusions, for one zone, which comes with the work, and for zones beside one
    of the same option."""
    fitting_h: Floats
    """Hours of changing the fittings that each zone bears.

    Each set-up but that of most ground is changed to once, for the zones worked with it, in proportion to what they
    return more by it."""
    fitting: Floats
    """Money for those hours."""

    def paid(self, options: Ints) -> Floats:
        """Money beyond the work that each zone pays with its option, (n_zones,)."""
        setup = self.evaluation.setup
        changed = setup[options] == setup[self.chosen]
        return np.where(options == LEAVE, 0.0, self.setting + self.fitting * changed)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decision:
    """What was decided of a context; sequences follow the rows of its table."""

    context: Context
    unset: ZoneEvaluation
    """Before any zone is set."""
    settled: Settled
    """What each zone is worked with, setting and changes of fittings paid."""
    pairs: Ints
    """(n_zones, 2): chosen option and runner-up."""
    outcomes: Sequence[ZoneOutcome] = ()
    """What comes of the pairs, setting and changes paid; none until it is worked out."""
    ways: tuple[Tried, ...] = ()
    """What other ways to have the work done return."""

    @property
    def evaluation(self) -> ZoneEvaluation:
        """That of the zones as they are settled."""
        return self.settled.evaluation

    @property
    def fitted(self) -> Ints:
        """Positions of the set-ups fitted in this paddock."""
        return self.settled.fitted


def build_context(
    zones: Zones, options: Options, evidence: Evidence, catalog: Catalog, rates: Rates, *, asked: DecisionSettings,
    only: Sequence[int] | None = None,
) -> Context:  # fmt: skip
    """All that is known of the zones; the economy is that of all options, or of `only` some."""
    ground = build_ground(evidence.surfaces, evidence.survey, catalog, asked.prescription)
    candidates = options.table[["option", "setup", "depth_mm", "spacing_mm"]]
    if only is not None:
        candidates = candidates.iloc[list(only)].reset_index(drop=True)
    economy = economy_on(
        ground, candidates, evidence, catalog, rates, draft=options.draft, asked=asked, tines=options.tines
    )
    known = _known(zones, economy, evidence, catalog, asked.season)
    return Context(
        options=options,
        economy=economy,
        catalog=catalog,
        rates=rates,
        prescription=asked.prescription,
        season=asked.season,
        soft_to_mm=evidence.pan.soft_to_mm,
        read_to_mm=np.inf if evidence.surfaces.verdict is None else evidence.surfaces.verdict.read_to_mm,
        **known,
    )


def on_zones(context: Context, zones: Zones, evidence: Evidence) -> Context:
    """The context of other zones on the same ground."""
    return replace(context, **_known(zones, context.economy, evidence, context.catalog, context.season))


def _known(
    zones: Zones, economy: Economy, evidence: Evidence, catalog: Catalog, season: SeasonSettings
) -> dict[str, Any]:
    """Fields of `Context` that follow the zones."""
    survey, table, ground = evidence.survey, zones.table, economy.ground
    zone_ha = share_nodes(zones, evidence.surfaces, ground.ha.size)
    facts = zone_facts(table=table, survey=survey, ground=ground, zone_ha=zone_ha, catalog=catalog, season=season)
    judged = judge(catalog.rules, facts, catalog.lab)
    capped_by, capped_chance = ceiling_rules(catalog.rules, judged, facts)
    exclusions = survey.paddock.exclusions.groupby("name")
    return {
        "table": table,
        "zone_ha": zone_ha,
        "turning": turning_time(economy, catalog, table["length_m"].to_numpy(float)),
        "facts": facts,
        "judged": judged,
        "after": after_costs(judged, facts, catalog.rules, economy.rates),
        "capped_by": capped_by,
        "capped_chance": np.where(np.array(capped_by) >= 0, capped_chance, 1.0),
        "kept_m": exclusions["buffer_m"].max().to_dict(),
        "lift_m": (exclusions["buried"].any() * zones.lift_m).to_dict(),
    }


def share_nodes(zones: Zones, surfaces: Surfaces, n_nodes: int) -> Floats:
    """Area of each node in each zone, ha, (n_zones, n_nodes): rows add up to the zone, 0 for exclusions."""
    table = zones.table
    numbers = table["zone"].to_numpy()
    used = (zones.labels > 0) & (surfaces.node_of_cell >= 0)
    cells = np.zeros((len(table), n_nodes))
    np.add.at(cells, (np.searchsorted(numbers, zones.labels[used]), surfaces.node_of_cell[used]), 1.0)
    area = np.where(table["kind"] == "ground", table["area_ha"], 0.0)
    return np.asarray(cells * (area / np.maximum(cells.sum(axis=1), 1.0))[:, None])


def turning_time(economy: Economy, catalog: Catalog, run_m: Floats) -> Floats:
    """Time a hectare takes over that at the usual field efficiency, (n_zones, n_options), by length of run."""
    speed = economy.passes[economy.ground.soil_names[economy.ground.main_soil()]].speed_kmh
    speed = np.where(np.isnan(speed), catalog.tractor.min_speed.value, speed)
    # a zone without a run (an exclusion) takes the usual time
    run = np.where(run_m > 0, run_m, np.inf)[:, None]
    return catalog.effort.field_efficiency.value / field_efficiency(catalog.effort, run, speed)
