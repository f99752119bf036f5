"""Ground, options and money together: what every option costs and returns, draw by draw."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import InputError
from hardpan.options.effort import Passes, Puller
from hardpan.options.ground import Ground
from hardpan.options.loosening import cumulated_excess, depth_grid_mm, full_width_depth_mm
from hardpan.options.mechanics import draft_spread, relative_wear, strength_factor
from hardpan.options.response import F32, RootLoss, root_loss
from hardpan.options.sections import (
    DrawnSection,
    Section,
    Totals,
    Weights,
    drawn_sections,
    sections_of,
    total_up,
    weights_of,
)
from hardpan.records.catalog import Catalog
from hardpan.records.ledger import Rates
from hardpan.records.machines import SetUp
from hardpan.records.options import Draft
from hardpan.records.pan import PanFeatures
from hardpan.records.reasons import MACHINE_LIMITS, Limit
from hardpan.records.soils import Response


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Economy:
    """Everything the return of an option depends on."""

    table: pd.DataFrame
    """`setup`, `depth_mm` of each option."""
    section: Section
    """Loosened section of each option, as expected."""
    drawn: tuple[DrawnSection, ...]
    """The same as drawn: draw k has the section k modulo their number."""
    tines: int
    """With which the paddock is worked."""
    passes: Mapping[str, Passes]
    """How each option is pulled with them, by soil type."""
    wear: Floats
    """(n_options,): wear of one pass relative to a plain tine at the reference depth."""
    ground: Ground
    worth: Floats
    """(n_draws, n_soils): worth per ha of the reference rip in the reference pan; 0 on soils that do not respond."""
    loss: RootLoss
    """Root growth that the pan takes."""
    rates: Rates
    draft: Floats
    """(n_soils, n_draws, n_options): draft over expected draft."""
    moist_mm: Floats
    """(n_soils,): depth below which each soil type is worked dry, infinite where that is not known or not done."""
    after: Floats
    """(n_soils, n_draws): money per ha for the work that is asked for after the pass."""

    def narrow(self, options: Ints, nodes: Ints, ha: Floats) -> "Economy":
        """Economy of some options on part of the ground: `ha` of each of `nodes`."""
        return replace(
            self,
            table=self.table.iloc[options],
            section=_take(self.section, options),
            drawn=tuple(replace(each, section=_take(each.section, options)) for each in self.drawn),
            passes={soil: passes.take(options) for soil, passes in self.passes.items()},
            draft=self.draft[:, :, options],
            wear=self.wear[options],
            ground=replace(self.ground.take(nodes), ha=ha),
        )

    def pulled(self, catalog: Catalog, draft: Draft, tines: int) -> "Economy":
        """The same pulled by the machine of a catalogue with so many tines."""
        passes = pulled_by(catalog, self.table, self.ground, draft=draft, moist_mm=self.moist_mm, tines=tines)
        return replace(self, tines=tines, passes=passes)

    def pullable(self) -> Bools:
        """Whether each option can be pulled on each soil type, (n_soils, n_options)."""
        return ~np.isnan(np.stack([self.passes[soil].speed_kmh for soil in self.ground.soil_names]))

    def work(self, turning: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Hours and litres per ha, (n_soils, n_draws, n_options) each, 0 for leaving.

        `turning` is the time a hectare takes over that at the usual field efficiency.
        """
        ripped = self.section["depth_mm"] > 0
        work = [
            self.passes[soil].at(draft, turning) for soil, draft in zip(self.ground.soil_names, self.draft, strict=True)
        ]
        hours, litres = np.where(ripped, np.nan_to_num(np.stack(work, axis=1)), 0.0)
        return hours, litres

    def cost(self, turning: Floats | float = 1.0) -> Floats:
        """Cost per ha, (n_soils, n_draws, n_options), 0 for leaving."""
        money = {name: self.rates.scenarios[name].to_numpy() for name in ("per_hour", "per_litre", "wear_per_ha")}
        hours, litres = self.work(turning)
        passes = np.stack([self.passes[soil].passes for soil in self.ground.soil_names])
        cost = cost_per_ha(hours, litres, (self.wear * passes)[:, None, :], **money)
        ripped = self.section["depth_mm"] > 0
        if self.after.any():
            cost += self.after[:, :, None] * ripped
        if "hire_per_ha" in self.rates.scenarios:
            cost += self.rates.scenarios["hire_per_ha"].to_numpy()[:, None] * ripped
        return cost

    def summed(self, per_ha: Floats, allowed: Bools) -> Floats:
        """Sum over all allowed ground of a value per ha of shape (n_soils, n_draws, n_options)."""
        ground = self.ground
        ha = np.stack([(ground.ha * (ground.soil == code)) @ allowed for code in range(len(ground.soils))])
        return np.asarray(np.einsum("sko,so->ko", per_ha, ha))

    def weighted_groups(self, grid_mm: Floats) -> Iterator[tuple[Ints, Weights]]:
        """Nodes that share all limits, in blocks, with their weights of cumulated loss on a grid of depths."""
        known: dict[tuple[float, float], Weights] = {}
        for nodes in self.ground.groups():
            ends = float(self.ground.reach_mm[nodes[0]]), float(self.moist_mm[self.ground.soil[nodes[0]]])
            if ends not in known:
                known[ends] = weights_of(self.section, self.drawn, grid_mm, reach_mm=ends[0], moist_mm=ends[1])
            yield nodes, known[ends]

    def totals(self, allowed: Bools, credit: Floats | None = None) -> Totals:
        """Expectations by node and sums by draw of what each option breaks.

        The sums are over the ground where it is `allowed`, with `credit` (n_soils, n_options), the gain over that of
        breaking the pan alone, counted in; the expectations have neither.
        """
        ground = self.ground
        grid = depth_grid_mm(float(self.section["depth_mm"].max(initial=0.0)))
        gain, loosened = np.zeros(allowed.shape), np.zeros(allowed.shape)
        summed = np.zeros((ground.present.shape[0], allowed.shape[1]))
        for nodes, weights in self.weighted_groups(grid):
            top, bottom, present = ground.top_mm[:, nodes].T, ground.bottom_mm[:, nodes].T, ground.present[:, nodes].T
            excess = cumulated_excess(top, bottom, self.loss.shape, grid)
            lost = np.where(present, self.loss.relative(top, bottom, ground.peak_kpa[:, nodes].T), np.float32(0.0))
            block = total_up(
                excess,
                weights,
                worth=lost * self.worth[:, ground.soil[nodes]].T.astype(np.float32),
                present=present.astype(np.float32),
                ha=ground.ha[nodes],
            )
            gain[nodes], loosened[nodes] = block.gain, block.loosened
            summed += block.summed * allowed[nodes[0]] * (1.0 if credit is None else credit[ground.soil[nodes[0]]])
        return Totals(gain=gain, loosened=loosened, summed=summed)


def _take(section: Section, options: Ints) -> Section:
    return {name: values[options] for name, values in section.items()}


def loss_of(ground: Ground, pan: PanFeatures, response: Response) -> RootLoss:
    """Root growth that the paddock's pans take."""
    peaks = ground.peak_kpa[ground.present & np.isfinite(ground.peak_kpa)]
    usual_kpa = float(peaks.mean(dtype=float)) if peaks.size else np.nan
    return root_loss(pan.excess_shape, pan.threshold_kpa, usual_kpa, response)


def economy_of(
    table: pd.DataFrame,
    ground: Ground,
    catalog: Catalog,
    rates: Rates,
    *,
    loss: RootLoss,
    draft: Draft,
    moist_mm: Floats,
    tines: int,
    after: Floats | float = 0.0,
) -> Economy:
    """Economy of all options of `table` on all ground, worked with so many `tines`.

    Draft rests on the equation, moved by the calibration at the depth and strength of the anchor, and by the strength
    of each soil type's pan; below `moist_mm` (n_soils,) soil is dry. `after` (n_soils, n_draws) is the
    money per ha for the work after the pass.

    Raises
    ------
    InputError
        The draws of money are not as many as those of the pan.
    """
    effort, depth, setups = catalog.effort, table["depth_mm"].to_numpy(float), _setups(table, catalog)
    return Economy(
        table=table,
        section=sections_of(table, catalog),
        drawn=drawn_sections(table, catalog, loss, ground.present.shape[0]),
        tines=tines,
        passes=pulled_by(catalog, table, ground, draft=draft, moist_mm=moist_mm, tines=tines),
        wear=np.array([relative_wear(setup, effort, at) for setup, at in zip(setups, depth, strict=True)]),
        ground=ground,
        worth=_worth(rates, ground),
        loss=loss,
        rates=rates,
        draft=draft_spread(effort, depth, ground.strength_kpa, draft),
        moist_mm=moist_mm,
        after=np.broadcast_to(after, (len(ground.soils), ground.present.shape[0])),
    )


def _setups(table: pd.DataFrame, catalog: Catalog) -> tuple[SetUp, ...]:
    """Set-up of each option, any for leaving."""
    any_setup = next(iter(catalog.setups.values()))
    return tuple(catalog.setups.get(name, any_setup) for name in table["setup"])


def pulled_by(
    catalog: Catalog, table: pd.DataFrame, ground: Ground, *, draft: Draft, moist_mm: Floats, tines: int
) -> Mapping[str, Passes]:
    """How the machine of a catalogue pulls each option of `table`, by soil type; the rest as for `economy_of`."""
    effort, depth, setups = catalog.effort, table["depth_mm"].to_numpy(float), _setups(table, catalog)
    exponent = 0.0 if effort.strength_exponent is None else effort.strength_exponent.value
    harder = draft.calibration * strength_factor(effort, ground.usual_strength_kpa, draft.anchor_kpa, exponent)
    return {
        name: Puller(
            catalog=catalog, texture=soil.texture, setups=setups, depth_mm=depth, factor=factor, moist_mm=moist
        ).plan(tines)
        for name, soil, factor, moist in zip(
            ground.soil_names, ground.soils, harder.tolist(), moist_mm.tolist(), strict=True
        )
    }


def _worth(rates: Rates, ground: Ground) -> Floats:
    worth = rates.scenarios["worth_per_ha"].sel(soil_type=list(ground.soil_names)).transpose("draw", "soil_type")
    if worth.sizes["draw"] != ground.present.shape[0]:
        raise InputError(
            what=f"{worth.sizes['draw']} draws of money do not go with {ground.present.shape[0]} draws of the pan",
            right="as many of both",
        )
    return np.asarray(worth.to_numpy() * ground.responds, dtype=np.float64)


def reach_probability(end_mm: F32, depth_mm: Floats) -> Floats:
    """Share of draws in which each depth reaches `end_mm`, (n_nodes, n_options).

    Parameters
    ----------
    end_mm : (n_draws, n_nodes)
        Depth to reach; -inf where there is no pan.
    depth_mm : (n_options,)
    """
    depths, which = np.unique(depth_mm, return_inverse=True)
    return np.stack([(end_mm <= np.float32(depth)).mean(axis=0) for depth in depths], axis=1)[:, which]


def cost_per_ha(
    hours: Floats, litres: Floats, wear: Floats, *, per_hour: Floats, per_litre: Floats, wear_per_ha: Floats
) -> Floats:
    """Cost of a pass, money per ha, shape (..., n_draws, n_options).

    Parameters
    ----------
    hours, litres : (..., n_draws, n_options)
        Per ha.
    wear : (..., 1, n_options)
        Wear relative to a plain tine at the reference depth.
    per_hour, per_litre, wear_per_ha : (n_draws,)
    """
    return hours * per_hour[:, None] + litres * per_litre[:, None] + wear * wear_per_ha[:, None]


def describe(economy: Economy, catalog: Catalog, soil: str) -> pd.DataFrame:
    """Options with their machine values in soil of type `soil`, columns of `Options.table`."""
    passes, section = economy.passes[soil], economy.section
    ripped, feasible = section["depth_mm"] > 0, ~np.isnan(passes.speed_kmh)
    hours, litres = passes.at(np.ones(ripped.size))
    held = np.array([*MACHINE_LIMITS, Limit.SPEED])[passes.limited_by]
    columns = {
        "speed_kmh": passes.speed_kmh,
        "passes": passes.passes,
        "tines": passes.tines,
        "width_m": passes.tines * catalog.ripper.spacing.value / 1000.0,
        "draft_kn": passes.draft_kn,
        "drawbar_kw": passes.drawbar_kw,
        "engine_kw": passes.engine_kw,
        "slip": passes.slip,
        "load": passes.load,
        "fuel_l_per_ha": litres,
        "hours_per_ha": hours,
        "critical_depth_mm": section["critical_mm"],
        "foot_mm": section["foot_mm"],
        "ridge_mm": section["ridge_mm"],
        "full_width_mm": full_width_depth_mm(section["depth_mm"], section["critical_mm"], section["ridge_mm"]),
    }
    machine = pd.DataFrame({name: np.where(ripped, values, 0.0) for name, values in columns.items()})
    machine["limited_by"] = np.where(ripped, held, "")
    machine["feasible"] = feasible
    return pd.concat([economy.table, machine], axis=1).astype({"tines": int, "passes": int})
