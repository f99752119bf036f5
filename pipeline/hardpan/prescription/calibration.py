"""Draft as measured: all drafts moved by one fuel figure of a pass."""

import numpy as np

from hardpan.core.errors import SettingsError
from hardpan.prescription.effort import Puller
from hardpan.prescription.settings import MachineSettings
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues, Outcome


def calibrate(catalog: Catalog, texture: str, machine: MachineSettings) -> tuple[float, Issues]:
    """Give draft measured over draft expected from one measured fuel figure, 1 where there is none.

    Raises
    ------
    SettingsError
        The figure is below what the engine burns idling over a hectare.
    """
    fuel = machine.observed_fuel_l_per_ha
    if fuel is None:
        return 1.0, ()
    depth = catalog.ripper.usual_depth.value if machine.observed_depth_mm is None else machine.observed_depth_mm
    setup = next(iter(catalog.setups.values())) if machine.setup is None else catalog.setups[machine.setup]
    puller = Puller(catalog=catalog, texture=texture, setups=(setup,), depth_mm=np.array([depth]))
    expected = puller.plan() if machine.observed_speed_kmh is None else puller.pull_at(machine.observed_speed_kmh)
    idle, pull = float(expected.idle_l_per_ha[0]), float(expected.pull_l_per_ha[0])
    if not fuel > idle:
        raise SettingsError(
            what=f"observed_fuel_l_per_ha = {fuel:g} is less than the engine burns idling over a hectare, {idle:.1f} L",
            where="[machine]",
            right="the whole fuel of a ripping pass over its area",
        )
    factor = (fuel - idle) / pull
    said = Issue(
        outcome=Outcome.WARN,
        stage="prescription",
        code="draft-calibrated",
        what=f"{fuel:g} L/ha measured at {depth:g} mm and {expected.speed_kmh[0]:g} km/h with {setup.says}",
        done=f"all drafts are {factor:.2f} times those of the equation" + _beyond(factor, catalog),
        place="[machine]",
    )
    return factor, (said,)


def _beyond(factor: float, catalog: Catalog) -> str:
    limit = 1.0 + max(row.range_pct.value for row in catalog.effort.rows.values()) / 100.0
    return (
        "" if 1.0 / limit <= factor <= limit else ", outside its stated range: check depth, speed and area of the pass"
    )
