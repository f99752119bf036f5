"""Profiles for the tests of the pan room, built without the survey."""

from collections.abc import Callable

import numpy as np
import pytest
import xarray as xr

from hardpan.records.survey import Profiles, Stop

Builder = Callable[..., Profiles]


@pytest.fixture(scope="session")
def profiles_of() -> Builder:
    """A function that turns depths and readings into profiles."""

    def build(
        depth_mm: object,
        cone_index_kpa: object,
        *,
        stop: object = Stop.ROD_END,
        thickness_mm: float = 0.0,
        at_least: object = False,
        theta: object = None,
        held: object = False,
        date: object = "",
    ) -> Profiles:
        value = np.atleast_2d(np.asarray(cone_index_kpa, dtype=float))
        n = len(value)
        depth = np.broadcast_to(np.asarray(depth_mm, dtype=float), value.shape).copy()
        depth[np.isnan(value)] = np.nan
        arrays = {
            "depth_mm": depth,
            "thickness_mm": np.full(value.shape, thickness_mm),
            "cone_index_kpa": value,
            "at_least": np.broadcast_to(np.asarray(at_least), value.shape),
            "held": np.broadcast_to(np.asarray(held), value.shape),
        }
        if theta is not None:
            arrays["theta"] = np.broadcast_to(np.asarray(theta, dtype=float), value.shape)
        names = [f"P{row:05d}" for row in range(n)]
        coords = {
            "insertion": names,
            "site": ("insertion", names),
            "replicate": ("insertion", np.ones(n, dtype=np.int64)),
            "x_m": ("insertion", 500_000.0 + 10.0 * np.arange(n)),
            "y_m": ("insertion", 6_900_000.0 + 10.0 * np.arange(n)),
            "date": ("insertion", np.broadcast_to(np.asarray(date), n)),
            "stop": ("insertion", np.broadcast_to(np.asarray(stop), n)),
            "stop_mm": ("insertion", np.fmax.reduce(depth, axis=1, initial=0.0)),
            "source_file": ("insertion", np.full(n, "invented.csv")),
            "source_row": ("insertion", np.arange(2, n + 2)),
        }
        dims = ("insertion", "sample")
        readings = xr.Dataset({name: (dims, values) for name, values in arrays.items()}, coords=coords)
        return Profiles(readings=readings, depth_limit_mm=float(np.nanmax(depth)))

    return build
