"""Draft as measured: all drafts moved by one fuel or slip figure of a pass."""

import numpy as np

from hardpan.core.errors import SettingsError
from hardpan.prescription.effort import Passes, Puller
from hardpan.prescription.settings import MachineSettings
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues, Outcome


def calibrate(catalog: Catalog, texture: str, machine: MachineSettings) -> tuple[float, Issues]:
    """Give draft measured over draft expected, 1 where nothing was measured, and what was taken for the measured pass.

    Raises
    ------
    SettingsError
        Fuel and slip are both given, the fuel is below what the engine burns idling, or slip says nothing here.
    """
    fuel, slip = machine.observed_fuel_l_per_ha, machine.observed_slip
    if fuel is None and slip is None:
        return 1.0, ()
    if fuel is not None and slip is not None:
        raise SettingsError(
            what="observed_fuel_l_per_ha and observed_slip are both given", where="[machine]", right="one of them"
        )
    depth_mm = catalog.ripper.usual_depth.value if machine.observed_depth_mm is None else machine.observed_depth_mm
    setup = next(iter(catalog.setups.values())) if machine.setup is None else catalog.setups[machine.setup]
    puller = Puller(catalog=catalog, texture=texture, setups=(setup,), depth_mm=np.array([depth_mm]))
    usual_kmh = np.nan_to_num(puller.plan().speed_kmh[0], nan=catalog.tractor.min_speed.value)
    speed_kmh = float(usual_kmh) if machine.observed_speed_kmh is None else machine.observed_speed_kmh
    expected = puller.pull_at(speed_kmh)
    factor = _by_slip(slip, expected, catalog) if fuel is None else _by_fuel(fuel, expected)
    measured = f"slip of {slip:.0%}" if fuel is None else f"{fuel:g} L/ha"
    depth = f"{depth_mm:g} mm" + (" (assumed)" if machine.observed_depth_mm is None else "")
    speed = f"{speed_kmh:g} km/h" + (" (assumed)" if machine.observed_speed_kmh is None else "")
    said = Issue(
        outcome=Outcome.WARN,
        stage="prescription",
        code="draft-calibrated",
        what=f"{measured} measured at {depth} and {speed} with {setup.says}",
        done=f"all drafts are {factor:.2f} times those of the equation{_beyond(factor, catalog)}",
        place="[machine]",
    )
    return factor, (said,)


def _by_fuel(fuel_l_per_ha: float, expected: Passes) -> float:
    idle = float(expected.idle_l_per_ha[0])
    if fuel_l_per_ha <= idle:
        raise SettingsError(
            what=f"observed_fuel_l_per_ha = {fuel_l_per_ha:g} is less than the engine burns idling, {idle:.1f} L/ha",
            where="[machine]",
            right="the whole fuel of a ripping pass over its area",
        )
    return (fuel_l_per_ha - idle) / float(expected.pull_l_per_ha[0])


def _by_slip(slip: float | None, expected: Passes, catalog: Catalog) -> float:
    """Slip grows in proportion to pull up to what the drive holds at its usual slip."""
    drive = catalog.tractor.drive
    if slip is None or drive not in catalog.effort.pull_ratio:
        raise SettingsError(what=f"slip says nothing of the draft of a {drive} tractor here", where="[machine]")
    return slip / float(expected.slip[0])


def _beyond(factor: float, catalog: Catalog) -> str:
    limit = 1.0 + max(row.range_pct.value for row in catalog.effort.rows.values()) / 100.0
    told = ", outside its stated range: check depth, speed and area of the pass"
    return "" if 1.0 / limit <= factor <= limit else told
