"""A plan in, a ledger out: areas, quantities and money."""

import logging

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.costs.doubt import doubt_by_input, open_by, open_ha, split_totals
from hardpan.costs.investment import invest, too_soon, when_again
from hardpan.costs.lines import BESIDE, Lines, draw_lines, ledger_lines, plan_after, total_of
from hardpan.costs.strategies import Hire, compare_strategies, hiring_issues, judge_hiring, sum_ways
from hardpan.money import crop_shares, lasting, season_weights
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings, SeasonSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.ledger import Ledger, Rates
from hardpan.records.options import Options
from hardpan.records.plan import Plan
from hardpan.records.rules import After
from hardpan.records.soils import SoilType

logger = logging.getLogger(__name__)


def tally(plan: Plan, options: Options, catalog: Catalog, rates: Rates, *, asked: DecisionSettings) -> Ledger:
    """Areas, quantities and money of a plan, per zone and in all."""
    season, history = asked.season, asked.history
    drawn = draw_lines(plan, catalog, rates)
    lines, hire = ledger_lines(drawn), _hire(drawn)
    strategies = compare_strategies(
        plan,
        options,
        lines,
        usual_depth_mm=catalog.ripper.usual_depth.value,
        your_depth_mm=asked.prescription.user_uniform_depth_mm,
        saved_by_hiring=None if hire is None else hire.saved,
    )
    hiring = None if hire is None else judge_hiring(hire, catalog.prices, strategies["ripped_ha"].iloc[0])
    ripped = set(plan.zones.loc[plan.zones["depth_mm"] > 0, "soil_type"])
    lasts = [lasting(catalog.soils[name], controlled_traffic=season.controlled_traffic)[1].value for name in ripped]
    counted = lasts or [0.0]
    hours = float(strategies["hours"].iloc[0])
    logger.info("%d lines of quantities and money, %d strategies beside each other", len(lines), len(strategies))
    return Ledger(
        lines=lines,
        strategies=strategies,
        investment=invest(
            plan,
            lines,
            {name: _expected_weights(catalog, catalog.soils[name], season) for name in ripped},
            grain_per_t=float(rates.scenarios["grain_per_t"].mean()),
            lime_kg_per_t=float("nan") if catalog.crop.lime_removed is None else catalog.crop.lime_removed.value,
        ),
        when_again=when_again(plan, catalog, season, history),
        totals=split_totals(drawn, lines, plan, rates, options.draft.factor),
        hours=hours,
        days=hours / season.hours_per_day,
        seasons=(min(counted), max(counted)),
        open_ha=open_ha(plan),
        open_by=open_by(plan, options, rates),
        hiring=hiring,
        ways=sum_ways(plan, strategies.iloc[0]),
        drivers=doubt_by_input(plan, options, rates),
        issues=(
            *too_soon(plan, catalog, season, history),
            *hiring_issues(hiring, catalog.prices.currency),
            *_unpriced(plan, catalog, rates),
        ),
    )


def _unpriced(plan: Plan, catalog: Catalog, rates: Rates) -> Issues:
    """Remark on work after the pass that is asked for and has no price."""
    ripped = plan.zones.loc[plan.zones["depth_mm"] > 0, "zone"]
    asked = {work for zone in ripped for work in plan_after(plan, zone, catalog)}
    missing = [work for work in After if work in asked and work.price not in rates.scenarios]
    if not missing:
        return ()
    keys = ", ".join(work.price for work in missing)
    what = f"{' and '.join(missing)} is asked for after the pass and has no price"
    done = f"not counted; give {keys} in [prices]"
    return (Issue("costs", "unpriced-after", what, done, file="prices.toml"),)


def _hire(drawn: Lines) -> Hire | None:
    """Own machine and contractor side by side, None where nothing is ripped or no rate is known."""
    if not any(item == "contractor instead" for _, item in drawn):
        return None
    return Hire(
        own=total_of(drawn, "cost"),
        # what lies beyond the pass costs the same whoever drives
        hired=sum((total_of(drawn, item) for item in (*BESIDE, *After)), start=total_of(drawn, "contractor instead")),
        owning=total_of(drawn, "tractor ownership") + total_of(drawn, "ripper ownership"),
    )


def _expected_weights(catalog: Catalog, soil: SoilType, season: SeasonSettings) -> Floats:
    """Discounted share of the first season's gain by season, expected, shape (n_seasons,)."""
    kept, seasons = lasting(soil, controlled_traffic=season.controlled_traffic)
    weights: Floats = season_weights(np.array([kept.value]), seasons.value, catalog.prices.discount_rate.value)[0]
    return weights * crop_shares(catalog, weights.size)
