"""The loosened section of every option, as expected and as drawn, and what is broken by node and by draw."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.money import Draws
from hardpan.options.loosening import breaking_weights, ridge_mm, share_by_step, step_weights
from hardpan.options.response import F32, RootLoss, dry_kept, reference_share, using_weights
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
    fitted = table["setup"].to_numpy(dtype=object)
    for name, setup in catalog.setups.items():
        rows = fitted == name
        if rows.any():
            for column, values in setup_section(setup, depth[rows], spacing, pick).items():
                section[column][rows] = values
    return section


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Totals:
    """Expectations over draws by node, and sums over nodes by draw."""

    gain: Floats
    """(n_nodes, n_options): expected worth per ha of what is broken."""
    loosened: Floats
    """(n_nodes, n_options): expected share of the root growth the pan takes that lies in broken soil, where there is a
    pan; 0 where there never is."""
    summed: Floats
    """(n_draws, n_options): worth on all the nodes' ground, money."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnSection:
    """Sections of all options in some of the draws, and how the crop responds to them."""

    section: Section
    saturation: float
    """Of `response.used_share`."""
    dry_loosened: float
    """Of `response.dry_kept`."""
    reference: float
    """Share of the reference pan's lost growth that the reference rip gives back."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """What cumulated loss on a grid of depths is multiplied by."""

    broken: Floats
    """(n_grid, n_options): to the share of the loss in broken soil."""
    used: Floats
    """(n_groups, n_grid, n_options): to the share the crop has back, over that after the reference rip."""


def drawn_sections(table: pd.DataFrame, catalog: Catalog, loss: RootLoss, n_draws: int) -> tuple[DrawnSection, ...]:
    """Sections as drawn, each held against the reference rip in soil that breaks alike."""
    response, drawn = catalog.response, []
    reference = response.reference
    depth_mm = np.array([reference.depth.value])
    for pick in picks(n_draws):
        trial = setup_section(catalog.reference_setup, depth_mm, reference.spacing.value, pick)
        saturation = pick("saturation", response.saturation)
        drawn.append(
            DrawnSection(
                section=sections_of(table, catalog, pick),
                saturation=saturation,
                dry_loosened=pick("dry loosening", response.dry_loosened),
                reference=reference_share(loss, trial, saturation, response),
            )
        )
    return tuple(drawn)


def weights_of(
    section: Section, drawn: Sequence[DrawnSection], grid_mm: Floats, *, reach_mm: float, moist_mm: float
) -> Weights:
    """Weights of cumulated loss on ground where tines gain nothing below `reach_mm` and less below `moist_mm`."""
    used = [
        using_weights(
            grid_mm, _reached(each.section, reach_mm), each.saturation, dry_kept(grid_mm, moist_mm, each.dry_loosened)
        )
        / each.reference
        for each in drawn
    ]
    reached = _reached(section, reach_mm)
    broken = breaking_weights(grid_mm, reached)
    if np.isfinite(moist_mm):
        kept = dry_kept(grid_mm, moist_mm, float(np.mean([each.dry_loosened for each in drawn])))
        broken = step_weights(share_by_step(grid_mm, reached).mean(axis=1) * kept[:, None])
    return Weights(broken=broken, used=np.stack(used))


def _reached(section: Section, reach_mm: float) -> Section:
    """Sections of tines that below `reach_mm` gain nothing, and so count as working no deeper."""
    return {**section, "depth_mm": np.minimum(section["depth_mm"], reach_mm)}


def total_up(excess: F32, weights: Weights, *, worth: F32, present: F32, ha: Floats) -> Totals:
    """Totals of nodes that share one reach.

    Parameters
    ----------
    excess : (n_nodes, n_draws, n_grid)
        Share of the loss of root growth that lies above each depth.
    worth, present : (n_nodes, n_draws)
        Worth per ha of the pan's lost growth, 0 where there is none; 1 where there is a pan.
    ha : (n_nodes,)
        Area of each node.
    """
    # what the crop has back is linear in the cumulated loss, so draws and nodes are summed before the options multiply
    # the work
    ever = np.maximum(present.sum(axis=1, keepdims=True), np.float32(1.0))
    by_node = np.einsum("nk,nkg->ng", worth / np.float32(worth.shape[1]), excess).astype(float)
    loosened = np.einsum("nk,nkg->ng", present / ever, excess).astype(float)
    by_draw = np.einsum("nk,nkg->kg", worth * ha[:, None].astype(np.float32), excess).astype(float)
    mean = weights.used.mean(axis=0)
    return Totals(
        gain=by_node @ mean,
        loosened=loosened @ weights.broken,
        summed=_summed(by_draw, weights.used, mean),
    )


def _summed(by_draw: Floats, used: Floats, mean: Floats) -> Floats:
    """What is had back in each draw, with the section of its group, (n_draws, n_options).

    Sections do not depend on the pan, so the expectation is that of every draw with every section: what the few draws
    of a group are off it by is taken out, and the order of the draws changes nothing expected.
    """
    summed = np.empty((by_draw.shape[0], used.shape[2]))
    for group, weights in enumerate(used):
        draws = np.s_[group :: len(used)]
        summed[draws] = by_draw[draws] @ weights
    expected = by_draw.mean(axis=0) @ mean
    return np.asarray(summed + expected - summed.mean(axis=0))
