"""The economy of options on the ground as it lies: how hard its pan is, and how deep it is moist."""

import pandas as pd

from hardpan.options.conditions import after_by_soil, dry_below_mm
from hardpan.options.economy import Economy, economy_of, loss_of
from hardpan.options.ground import Ground
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Draft


def economy_on(
    ground: Ground, table: pd.DataFrame, evidence: Evidence, catalog: Catalog, rates: Rates, *, draft: Draft,
    asked: DecisionSettings, tines: int,
) -> Economy:  # fmt: skip
    """Economy of all options of `table` on the ground of a paddock, worked with so many `tines`."""
    moist_mm = dry_below_mm(
        survey=evidence.survey, ground=ground, catalog=catalog, prescription=asked.prescription, season=asked.season
    )
    after = after_by_soil(survey=evidence.survey, ground=ground, catalog=catalog, season=asked.season, rates=rates)
    loss = loss_of(ground, evidence.pan, catalog.response)
    return economy_of(
        table, ground, catalog, rates, loss=loss, draft=draft, moist_mm=moist_mm, after=after, tines=tines
    )
