"""The plan's tables of moisture, of candidates, and what is said of lime and gypsum."""

from dataclasses import asdict

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools
from hardpan.prescription.amendments import MISSING, spreading_text
from hardpan.prescription.case import Case
from hardpan.prescription.choice import Ballot
from hardpan.prescription.moisture import moisture_window


def moisture_table(case: Case, plan: gpd.GeoDataFrame) -> pd.DataFrame:
    """Give the verdict on moisture, one row a zone, columns of `Plan.moisture`."""
    rows = []
    for row, zone in enumerate(plan.itertuples()):
        window = moisture_window(zone.depth_mm, case.season, case.water(row), repellent=case.repellent(row))
        rows.append({"zone": zone.zone, **asdict(window)})
    return pd.DataFrame(rows)


def candidate_table(case: Case, ballot: Ballot) -> pd.DataFrame:
    """Give one row a zone and option, columns of `Plan.candidates`."""
    table = case.options.table
    n_zones, n_options = ballot.net.shape
    allowed = np.isfinite(ballot.net)
    return pd.DataFrame(
        {
            "zone": np.repeat(case.table["zone"].to_numpy(), n_options),
            "option": np.tile(table["option"].to_numpy(), n_zones),
            "setup": np.tile(table["setup"].to_numpy(), n_zones),
            "depth_mm": np.tile(table["depth_mm"].to_numpy(), n_zones),
            "net_per_ha": np.where(allowed, ballot.net, np.nan).ravel(),
            "cost_per_ha": ballot.cost.ravel(),
            "loosened_share": ballot.loosened.ravel(),
            "breach_probability": ballot.breach.ravel(),
            "allowed": allowed.ravel(),
            "why_not": np.asarray(ballot.why_not).ravel(),
        }
    )


def spreading_texts(case: Case, ripped: Bools) -> dict[object, dict[str, tuple[str, bool]]]:
    """Give what is said of lime and gypsum in each zone of ground, and whether an amount is given."""
    table = case.table
    return {
        label: {item: spreading_text(item, str(soil), case.catalog, ripped=bool(worked)) for item in MISSING}
        for label, kind, soil, worked in zip(table.index, table["kind"], table["soil_type"], ripped, strict=True)
        if kind == "ground"
    }
