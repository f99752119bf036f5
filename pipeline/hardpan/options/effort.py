"""What it takes to pull: draft, power, speed, slip, fuel and time of every option."""

from dataclasses import dataclass, fields, replace

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import SettingsError
from hardpan.core.units import STANDARD_GRAVITY
from hardpan.options.mechanics import (
    draft_per_tine_n,
    drawbar_power_kw,
    dry_factor,
    engine_power_kw,
    fuel_l_per_h,
    throttle_factor,
    work_rate_ha_per_h,
)
from hardpan.records.catalog import Catalog
from hardpan.records.machines import SetUp
from hardpan.records.reasons import MACHINE_LIMITS, TRACTOR_LIMITS, Held, Limit

SPEED_STEP_KMH = 0.25
"""Step in which a driver sets the speed."""

_OF_TRACTOR = [MACHINE_LIMITS.index(limit) for limit in TRACTOR_LIMITS]

POWER_STEP_KW, MASS_STEP_KG = 10.0, 500.0
"""Steps in which it is told what tractor would do: tractors are not sized finer."""


def limit_values(catalog: Catalog) -> tuple[float, float, float, float]:
    """Values of `MACHINE_LIMITS`: usable engine power, kW, and draft of a tine, of the frame and of grip, kN.

    Infinite where not stated: such a limit never binds.
    """
    tractor, ripper, effort = catalog.tractor, catalog.ripper, catalog.effort
    rated = [np.inf if rating is None else rating.value for rating in (ripper.breakout_rating, ripper.draft_rating)]
    ratio = effort.pull_ratio.get(tractor.drive)
    grip = np.inf if ratio is None else ratio.value * tractor.mass.value * STANDARD_GRAVITY / 1000.0
    return tractor.engine_power.value * effort.usable_power.value, rated[0], rated[1], grip


def published_draft_kn(
    catalog: Catalog, texture: str, setup: SetUp, *, depth_mm: float, speed_kmh: float, tines: int
) -> float:
    """Draft of all tines by the equation as published (`d497`), kN: linear in depth, blind to the soil's strength."""
    effort = catalog.effort
    draft_n = draft_per_tine_n(
        effort.rows[setup.draft_row],
        texture_factor=effort.texture_factor[texture].value,
        depth_mm=depth_mm,
        speed_kmh=speed_kmh,
        anchor_mm=effort.anchor_depth.value,
        exponent=1.0,
    )
    return tines * float(draft_n) / 1000.0


def machine_limit(catalog: Catalog, number: int, tractor_load: float) -> Held:
    """Limit of tractor or ripper with its figure; `number` as `Passes.limited_by`, and `tractor_load` of `Passes`.

    Where the tractor is too small for all tines, power and mass of one that would do go with it.
    """
    if number < 0:
        return Held(limit=Limit.SPEED)
    limit = MACHINE_LIMITS[number]
    held = Held(limit=limit, value=limit_values(catalog)[number])
    if limit not in TRACTOR_LIMITS or not tractor_load > 1.0:
        return held
    tractor = catalog.tractor
    return replace(
        held,
        enough_kw=rounded_up(tractor_load * tractor.engine_power.value, POWER_STEP_KW),
        enough_kg=rounded_up(tractor_load * tractor.mass.value, MASS_STEP_KG),
    )


def rounded_up(value: float, step: float) -> float:
    """Next multiple of `step`, a value on one left as it is."""
    return float(step * np.ceil(value / step - 1e-9))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passes:
    """How each option is pulled; arrays of shape (n_options,), hours and litres those of all passes together."""

    tines: Floats
    passes: Floats
    speed_kmh: Floats
    """NaN, as all that follows from it, where not even one tine can be pulled."""
    draft_kn: Floats
    drawbar_kw: Floats
    engine_kw: Floats
    slip: Floats
    load: Floats
    """Largest load over limit at that speed, at most 1."""
    tractor_load: Floats
    """Power and mass over the tractor's with which it would pull all tines in one pass at its slowest speed."""
    whole: Bools
    """Whether all tines would be pulled in one pass."""
    limited_by: Ints
    """Position in `MACHINE_LIMITS` of what forbids the next faster speed, -1: the speed window ends."""
    hours_per_ha: Floats
    """At the usual field efficiency."""
    pull_l_per_ha: Floats
    """Fuel of the pull itself, in proportion to draft."""
    idle_l_per_ha: Floats
    """Fuel of the turning engine, in proportion to hours: throttled back as far as the work allows, and in turns."""

    def take(self, options: Ints) -> "Passes":
        """Passes of some options."""
        return Passes(**{field.name: getattr(self, field.name)[options] for field in fields(Passes)})

    def at(self, factor: Floats, turning: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Hours and litres per ha when draft is `factor` times the expected and time `turning` times the usual.

        A harder pull that passes a limit slows the work in proportion; an easier one is not driven faster.
        """
        slower = np.maximum(1.0, factor * self.load) * turning
        return self.hours_per_ha * slower, self.pull_l_per_ha * factor + self.idle_l_per_ha * slower


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Puller:
    """Tractor and ripper in soil of one texture, ready to be asked about options."""

    catalog: Catalog
    texture: str
    setups: tuple[SetUp, ...]
    """(n_options,) set-ups."""
    depth_mm: Floats
    """(n_options,) working depths."""
    factor: float = 1.0
    """Draft of this ground over that of the equation: its strength, and what a measured pass told."""
    moist_mm: float = np.inf
    """Depth to which this ground is moist; what lies below pulls harder."""

    def plan(self, tines: int) -> Passes:
        """One pass with `tines`, or two where they get over more ground.

        What limits it is what keeps the single pass from going faster; where all tines could not be pulled in one pass,
        what holds those.
        """
        single, whole = self.pull(tines), self.pull(self.catalog.ripper.tines)
        best, share = single, self.catalog.effort.first_pass_share
        if share is not None:
            twice = self._pull_twice(tines, share.value)
            quicker = np.nan_to_num(single.hours_per_ha, nan=np.inf) > np.nan_to_num(twice.hours_per_ha, nan=np.inf)
            best = _where(quicker, twice, single)
        held_whole = np.isnan(whole.speed_kmh) & ~np.isnan(best.speed_kmh)
        limited_by = np.where(held_whole, whole.limited_by, single.limited_by)
        return replace(best, limited_by=limited_by, tractor_load=whole.tractor_load, whole=whole.whole)

    def pull(self, tines: int, drawn_share: float = 1.0) -> Passes:
        """Fastest single pass with `tines` inside all limits, at `drawn_share` of the depth's draft."""
        speeds = self._speeds_kmh()
        tine_kn = self._tine_kn(speeds) * drawn_share
        loads = self._loads(tine_kn, tines, speeds)
        fits: Bools = np.all(loads <= 1.0, axis=0)
        none = ~fits.any(axis=1)
        pick = np.where(none, 0, speeds.size - 1 - np.argmax(fits[:, ::-1], axis=1))
        option = np.arange(pick.size)
        faster = np.where(none, 0, np.minimum(pick + 1, speeds.size - 1))
        held = loads[:, option, faster]
        return self._worked(
            tines=tines,
            speed=np.where(none, np.nan, speeds[pick]),
            draft=np.where(none, np.nan, tine_kn[option, pick] * tines),
            load=loads[:, option, pick].max(axis=0),
            tractor_load=loads[_OF_TRACTOR, :, 0].max(axis=0),
            limited_by=np.where(held.max(axis=0) > 1.0, held.argmax(axis=0), -1),
        )

    def pull_at(self, speed_kmh: float) -> Passes:
        """Single pass with all tines at a known speed, whatever the limits."""
        tines, speeds = self.catalog.ripper.tines, np.array([speed_kmh])
        tine_kn = self._tine_kn(speeds)
        loads = self._loads(tine_kn, tines, speeds)[:, :, 0]
        return self._worked(
            tines=tines,
            speed=np.full(self.depth_mm.size, speed_kmh),
            draft=tine_kn[:, 0] * tines,
            load=loads.max(axis=0),
            tractor_load=loads[_OF_TRACTOR].max(axis=0),
            limited_by=np.full(self.depth_mm.size, -1),
        )

    def _pull_twice(self, tines: int, share: float) -> Passes:
        """Two passes with `tines`, the first at `share` of the depth; power and speed of the second."""
        exponent = self.catalog.effort.depth_exponent.value
        first = replace(self, depth_mm=self.depth_mm * share).pull(tines)
        second = self.pull(tines, 1.0 - share**exponent)
        return replace(
            second,
            passes=second.passes * 2,
            speed_kmh=np.where(np.isnan(first.speed_kmh), np.nan, second.speed_kmh),
            load=np.maximum(first.load, second.load),
            hours_per_ha=first.hours_per_ha + second.hours_per_ha,
            pull_l_per_ha=first.pull_l_per_ha + second.pull_l_per_ha,
            idle_l_per_ha=first.idle_l_per_ha + second.idle_l_per_ha,
        )

    def _speeds_kmh(self) -> Floats:
        slow, fast = self.catalog.tractor.min_speed.value, self.catalog.tractor.max_speed.value
        return np.append(np.arange(slow, fast - 1e-9, SPEED_STEP_KMH), fast)

    def _tine_kn(self, speeds_kmh: Floats) -> Floats:
        """Draft of one tine, kN, shape (n_options, n_speeds)."""
        effort = self.catalog.effort
        factor = self.factor * dry_factor(effort, self.depth_mm, self.moist_mm)
        tine_kn = np.empty((self.depth_mm.size, speeds_kmh.size))
        fitted = np.array([id(setup) for setup in self.setups])
        for setup in {id(setup): setup for setup in self.setups}.values():
            options = np.flatnonzero(fitted == id(setup))
            draft_n = draft_per_tine_n(
                effort.rows[setup.draft_row],
                texture_factor=effort.texture_factor[self.texture].value,
                depth_mm=self.depth_mm[options, None],
                speed_kmh=speeds_kmh,
                anchor_mm=effort.anchor_depth.value,
                exponent=effort.depth_exponent.value,
            )
            tine_kn[options] = factor[options, None] * setup.draft_factor.value * draft_n / 1000.0
        return tine_kn

    def _loads(self, tine_kn: Floats, tines: int, speeds_kmh: Floats) -> Floats:
        """Load over limit, shape (n_limits, n_options, n_speeds); a limit that is not stated never binds."""
        usable_kw, tine_limit, frame_limit, grip = limit_values(self.catalog)
        draft = tine_kn * tines
        power = drawbar_power_kw(draft, speeds_kmh)
        engine = engine_power_kw(power, self.catalog.effort, self.catalog.tractor.drive)
        return np.stack([engine / usable_kw, tine_kn / tine_limit, draft / frame_limit, draft / grip])

    def _worked(
        self, *, tines: int, speed: Floats, draft: Floats, load: Floats, tractor_load: Floats, limited_by: Ints
    ) -> Passes:
        """Power, slip, time and fuel of a pass of known speed and draft."""
        effort, tractor = self.catalog.effort, self.catalog.tractor
        efficiency = effort.field_efficiency.value
        drawbar = drawbar_power_kw(draft, speed)
        engine = engine_power_kw(drawbar, effort, tractor.drive)
        hours = 1.0 / work_rate_ha_per_h(speed, tines * self.catalog.ripper.spacing.value / 1000.0, efficiency)
        to_pto, usual_slip = effort.fuel["engine_to_pto"].value, effort.slip[tractor.drive].value
        grip = limit_values(self.catalog)[3]
        at_work, turning = (throttle_factor(effort, load) for load in (engine / tractor.engine_power.value, 0.0))
        return Passes(
            tines=np.full(speed.size, float(tines)),
            passes=np.ones(speed.size),
            speed_kmh=speed,
            draft_kn=draft,
            drawbar_kw=drawbar,
            engine_kw=engine,
            slip=usual_slip * draft / grip if np.isfinite(grip) else np.full(speed.size, usual_slip),
            load=load,
            tractor_load=tractor_load,
            whole=~np.isnan(speed) & (tines == self.catalog.ripper.tines),
            limited_by=limited_by,
            hours_per_ha=hours,
            pull_l_per_ha=hours * efficiency * effort.fuel["load"].value * engine * to_pto * at_work,
            idle_l_per_ha=hours
            * fuel_l_per_h(0.0, tractor.engine_power.value * to_pto, effort)
            * (efficiency * at_work + (1.0 - efficiency) * turning),
        )


def _where(use: Bools, these: Passes, others: Passes) -> Passes:
    """Passes `these` where `use`, else the `others`."""
    picked = {f.name: np.where(use, getattr(these, f.name), getattr(others, f.name)) for f in fields(Passes)}
    return Passes(**picked)


def refuse_powerless(
    catalog: Catalog, shallowest_mm: float, limited_by: int, tractor_load: float, tines: int = 1
) -> None:
    """Refuse a tractor or ripper that cannot pull the fewest tines at the shallowest depth; figures as of `Passes`."""
    tractor, fewest = catalog.tractor, "one tine" if tines == 1 else f"{tines} tines"
    easiest = f"at {shallowest_mm:g} mm and {tractor.min_speed.value:g} km/h"
    held = machine_limit(catalog, limited_by, tractor_load)
    beyond = f"{held.limit} ({held.value:.3g} {held.limit.unit})" if held.limit.unit else held.limit
    small = held.limit in TRACTOR_LIMITS
    raise SettingsError(
        what=f"{'too small a tractor: it ' if small else ''}cannot pull {fewest} of {catalog.ripper_name} even "
        f"{easiest}: it is beyond the {beyond}",
        where=f"tractor {catalog.tractor_name}",
        right=f"about {held.enough_kw:g} kW and {held.enough_kg:g} kg for all {catalog.ripper.tines} tines there"
        if small
        else f"enough strength for {fewest}",
        do="choose another tractor or ripper, or a lower min_speed",
    )
