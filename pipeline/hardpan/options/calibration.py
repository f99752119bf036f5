"""Draft as a measured pass leaves it: what it showed, and what is still not known."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from hardpan.core.errors import SettingsError
from hardpan.core.said import Amount, Measure, Said, depth, percent, speed, strength
from hardpan.options.effort import Passes, Puller
from hardpan.options.mechanics import draft_factors, draft_range_pct, known_strength_kpa
from hardpan.records.catalog import Catalog
from hardpan.records.decision import MachineSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.options import Draft


def calibrate(
    catalog: Catalog, texture: str, machine: MachineSettings, strength_kpa: float, *, n_draws: int
) -> tuple[Draft, Issues]:
    """Draft of the equation, or that of the measured pass, with its spread; and what was taken for that pass.

    Parameters
    ----------
    strength_kpa : float
        Expected strength of the pan in soil of `texture`, taken for that of the pass where the user states none.

    Raises
    ------
    SettingsError
        Fuel and slip are both given, the fuel is below what the engine burns idling, or slip says nothing here.
    """
    effort, fuel, slip = catalog.effort, machine.observed_fuel_l_per_ha, machine.observed_slip
    if fuel is None and slip is None:
        return Draft(
            factor=draft_factors(draft_range_pct(effort, measured=False), n_draws),
            calibration=1.0,
            anchor_mm=effort.anchor_depth.value,
            anchor_kpa=known_strength_kpa(effort, np.nan),
        ), ()
    if fuel is not None and slip is not None:
        raise SettingsError(
            what="observed_fuel_l_per_ha and observed_slip are both given", where="[machine]", right="one of them"
        )
    depth_mm = catalog.ripper.usual_depth.value if machine.observed_depth_mm is None else machine.observed_depth_mm
    setup = next(iter(catalog.setups.values())) if machine.setup is None else catalog.setups[machine.setup]
    puller = Puller(catalog=catalog, texture=texture, setups=(setup,), depth_mm=np.array([depth_mm]))
    usual_kmh = float(
        np.nan_to_num(puller.plan(catalog.ripper.tines).speed_kmh[0], nan=catalog.tractor.min_speed.value)
    )
    speed_kmh = usual_kmh if machine.observed_speed_kmh is None else machine.observed_speed_kmh
    expected = puller.pull_at(speed_kmh)
    draft = Draft(
        factor=draft_factors(draft_range_pct(effort, measured=True), n_draws),
        calibration=_by_slip(slip, expected, catalog) if fuel is None else _by_fuel(fuel, puller, speed_kmh),
        anchor_mm=depth_mm,
        anchor_kpa=known_strength_kpa(effort, machine.observed_strength_kpa or strength_kpa),
    )
    return draft, (_calibrated(draft, speed_kmh, setup.says, machine, catalog),)


def _calibrated(draft: Draft, speed_kmh: float, says: str, machine: MachineSettings, catalog: Catalog) -> Issue:
    fuel, slip, factor = machine.observed_fuel_l_per_ha, machine.observed_slip, draft.calibration
    slipped = "" if slip is None else f"slip of {percent(slip)}"
    assumed = {
        name: " (assumed)" if given is None else ""
        for name, given in (
            ("depth_by", machine.observed_depth_mm),
            ("speed_by", machine.observed_speed_kmh),
            ("pan_by", machine.observed_strength_kpa),
        )
    }
    through = "" if catalog.effort.strength_exponent is None else ", through a pan of {pan}{pan_by}"
    return Issue(
        stage="prescription",
        code="draft-calibrated",
        what=Said(
            "{measured} measured at {depth}{depth_by} and {speed}{speed_by} with {setup}" + through,
            measured=slipped if fuel is None else Amount(fuel, Measure.FUEL_RATE, None),
            depth=depth(draft.anchor_mm, None),
            speed=speed(speed_kmh),
            setup=says,
            pan=strength(draft.anchor_kpa),
            **assumed,
        ),
        done=f"all drafts are {factor:.2f} times those of the equation"
        + ("" if _in_range(factor, catalog) else ", outside its stated range: check depth, speed and area of the pass"),
        place="[machine]",
    )


def calibrations(catalog: Catalog, textures: Sequence[str], machine: MachineSettings) -> list[tuple[str, float]]:
    """Each texture with draft measured over draft expected in it, those left out in which the pass cannot have been.

    Raises
    ------
    SettingsError
        It cannot have been in any.
    """
    found, refused = [], []
    for texture in dict.fromkeys(textures):
        try:
            found.append((texture, calibrate(catalog, texture, machine, np.nan, n_draws=1)[0].calibration))
        except SettingsError as err:
            refused.append(err)
    if not found:
        raise refused[0]
    return found


def _by_fuel(fuel_l_per_ha: float, puller: Puller, speed_kmh: float) -> float:
    """Factor on all drafts with which a pass at that speed burns what was measured: fuel rises with draft."""

    def burnt(factor: float) -> float:
        passes = replace(puller, factor=factor).pull_at(speed_kmh)
        return float(passes.pull_l_per_ha[0] + passes.idle_l_per_ha[0])

    idle, most = burnt(0.0), 1.0
    if fuel_l_per_ha <= idle:
        raise SettingsError(
            what=f"observed_fuel_l_per_ha = {fuel_l_per_ha:g} is less than the engine burns idling, {idle:.1f} L/ha",
            where="[machine]",
            right="the whole fuel of a ripping pass over its area",
        )
    while burnt(most) < fuel_l_per_ha:
        most *= 2.0
    return float(brentq(lambda factor: burnt(factor) - fuel_l_per_ha, 0.0, most, xtol=1e-9))


def _by_slip(slip: float | None, expected: Passes, catalog: Catalog) -> float:
    """Slip grows in proportion to pull up to what the drive holds at its usual slip."""
    drive = catalog.tractor.drive
    if slip is None or drive not in catalog.effort.pull_ratio:
        raise SettingsError(what=f"slip says nothing of the draft of a {drive} tractor here", where="[machine]")
    return slip / float(expected.slip[0])


def _in_range(factor: float, catalog: Catalog) -> bool:
    """Whether the equation's stated range holds a factor of draft."""
    limit = 1.0 + max(row.range_pct.value for row in catalog.effort.rows.values()) / 100.0
    return 1.0 / limit <= factor <= limit
