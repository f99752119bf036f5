"""The loosened section of every option, as expected and as drawn."""

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.money import Draws
from hardpan.options.loosening import ridge_mm
from hardpan.records.catalog import Catalog
from hardpan.records.machines import SetUp
from hardpan.records.quantity import Quantity

GROUPS = 12
"""Sections drawn; the draws of the pan and of money share them out, so that work does not grow with the draws."""

Section = Mapping[str, Floats]
"""`depth_mm`, `foot_mm`, `ridge_mm`, `spacing_mm`, `critical_mm`, arrays of shape (n_options,)."""

Pick = Callable[[str, Quantity], float]
"""Value of a quantity of geometry, by its name."""


def expected(name: str, quantity: Quantity) -> float:  # noqa: ARG001 - every quantity is taken at its value
    """The quantity's value."""
    return quantity.value


def picks(n_draws: int) -> list[Pick]:
    """One picker a group of draws, at most `GROUPS`; what is of the soil or the crop is shared by all set-ups."""
    drawn = Draws(n_draws=min(GROUPS, n_draws), seed=None)
    known: dict[tuple[str, Quantity], Floats] = {}

    def picker(group: int) -> Pick:
        def pick(name: str, quantity: Quantity) -> float:
            values = known.get((name, quantity))
            if values is None:
                values = known[name, quantity] = drawn(name, quantity)
            return float(values[group])

        return pick

    return [picker(group) for group in range(drawn.n_draws)]


def critical_depth_mm(setup: SetUp, depth_mm: Floats | float, pick: Pick = expected) -> Floats:
    """Depth below which the foot only cuts a slot, mm.

    The critical ratio times the foot's width, counted from the depth the shallow leading tines have loosened
    (`bc-soil-handbook`; `godwin-spoor1977`, from memory; leading tines: `hamza2006`). Plates behind the tine do not
    count: they follow in the slot that the foot has cut.
    """
    lead = 0.0 if setup.leading_depth_share is None else pick("leading depth share", setup.leading_depth_share)
    foot = pick("foot width", setup.foot_width)
    return np.asarray(lead * np.asarray(depth_mm, dtype=float) + pick("critical ratio", setup.critical_ratio) * foot)


def setup_section(setup: SetUp, depth_mm: Floats, spacing_mm: float, pick: Pick = expected) -> dict[str, Floats]:
    """Section of one set-up at each depth; the slot is as wide as the foot, or as plates that hold it open."""
    slot = pick("foot width", setup.foot_width)
    if setup.plate_width is not None:
        slot = max(slot, setup.plate_width.value)
    one = np.ones(depth_mm.size)
    return {
        "depth_mm": depth_mm,
        "foot_mm": slot * one,
        "ridge_mm": ridge_mm(slot * one, spacing_mm, pick("side angle", setup.side_angle)),
        "spacing_mm": spacing_mm * one,
        "critical_mm": critical_depth_mm(setup, depth_mm, pick),
    }


def sections_of(table: pd.DataFrame, catalog: Catalog, pick: Pick = expected) -> Section:
    """Section of every option of `table`; a foot of no width for leaving."""
    depth, spacing = table["depth_mm"].to_numpy(float, copy=True), catalog.ripper.spacing.value
    none = np.zeros(depth.size)
    section = {
        "depth_mm": depth,
        "foot_mm": none.copy(),
        "ridge_mm": ridge_mm(none, spacing, 45.0),
        "spacing_mm": none + spacing,
        "critical_mm": none.copy(),
    }
    for name, setup in catalog.setups.items():
        rows = (table["setup"] == name).to_numpy()
        for column, values in setup_section(setup, depth[rows], spacing, pick).items():
            section[column][rows] = values
    return section
