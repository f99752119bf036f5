"""The plan as a display takes it: few vertices, single parts, nothing it could choke on; what can be written at all."""

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.util import find_spec

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.errors import HardpanError, SettingsError
from hardpan.core.said import Said, distance
from hardpan.outputs.geodesy import to_wgs84
from hardpan.outputs.settings import OutputSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.plan import Plan
from hardpan.records.survey import Survey

_TOLERANCES_M = (0.5, 1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0)
"""Steps of simplification tried, finest first; beyond 20 m borders would leave the zones they were drawn for."""

_MOST_AREA_CHANGE = 0.01
"""Largest share by which the hectares of a depth may change before the simplification is refused."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Size:
    polygons: int
    vertices: int
    ring: int

    def fits(self, settings: OutputSettings) -> bool:
        return self.vertices <= settings.max_vertices and self.ring <= settings.max_ring_vertices


def check_outputs(survey: Survey, settings: OutputSettings) -> None:
    """Refuse a format whose library is missing, and a paddock that displays cannot place.

    Raises
    ------
    HardpanError
        A format needs a library that is not installed, or the paddock has no place in WGS 84.
    """
    check_geoparquet(settings.formats)
    to_wgs84(survey.paddock.boundary.to_numpy(), survey.crs)


def check_geoparquet(formats: Iterable[str]) -> None:
    """Refuse the format before any work where its library is not installed.

    Raises
    ------
    SettingsError
        GeoParquet is asked for and pyarrow is missing.
    """
    if "geoparquet" in formats and find_spec("pyarrow") is None:
        raise SettingsError(
            what="geoparquet needs pyarrow", where="outputs.formats", do="install the extra hardpan[parquet]"
        )


def hold_back(plan: Plan, settings: OutputSettings) -> tuple[OutputSettings, Issues]:
    """Settings without the files for the display where the plan is too wet to be driven and nobody forces it.

    A remark says which are not written, or that they are although it is too wet.
    """
    files = {"shapefile": "prescription_shp.zip", "isoxml": "taskdata.zip"}
    asked = [files[one] for one in settings.formats if one in files]
    if not plan.too_wet or not asked:
        return settings, ()
    named, done = " and ".join(asked), "written all the same, as outputs.force asks for"
    if not settings.force:
        kept = tuple(one for one in settings.formats if one not in files)
        settings = settings.model_copy(update={"formats": kept})
        done = "not written: wait until it has dried and run again, or force it (run --force)"
    what = f"the soil is too wet to rip, and {named} would have it ripped"
    return settings, (Issue("outputs", "too-wet", what, done),)


def fit_profile(zones: gpd.GeoDataFrame, settings: OutputSettings) -> tuple[gpd.GeoDataFrame, float, Issues]:
    """Zones with borders simplified as little as the display's limits need, by how many m, and what was done.

    Shared borders move together; the paddock's own outline moves only if nothing else is enough.

    Parameters
    ----------
    zones : GeoDataFrame
        A valid coverage in the working CRS, m, with `depth_mm`.

    Raises
    ------
    HardpanError
        The plan does not fit the display's limits without moving more than 1 % of the hectares of a depth.
    """
    size = _size(zones)
    if size.polygons > settings.max_polygons:
        raise HardpanError(
            what=f"the plan has {size.polygons} polygons, the display takes {settings.max_polygons}",
            where="outputs.max_polygons",
            do="raise it, or raise zones.min_area_ha",
        )
    if size.fits(settings):
        return zones, 0.0, ()
    of_outline = shapely.get_num_coordinates(shapely.coverage_union_all(zones.geometry.array))
    for outline in (True,) if of_outline > settings.max_vertices else (False, True):
        fitted = zones
        for tolerance_m in _TOLERANCES_M:
            # From one step to the next: what is taken off first is the same, and each step has less left to look at.
            fitted = _simplified(fitted, tolerance_m, outline=outline)
            if _size(fitted).fits(settings) and _sound(zones, fitted):
                return fitted, tolerance_m, (_told(size, _size(fitted), tolerance_m, outline=outline),)
            if not _size(_simplified(fitted, _TOLERANCES_M[-1], outline=outline)).fits(settings):
                break
    raise HardpanError(
        what=f"the plan has {size.vertices} vertices, {size.ring} in one ring; the display takes "
        f"{settings.max_vertices} and {settings.max_ring_vertices}",
        where="outputs.max_vertices",
        do="raise outputs.max_vertices and outputs.max_ring_vertices, or zones.simplify_m",
    )


def single_parts(zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """One row a polygon, in order of zone, fresh index."""
    return zones.sort_values("zone").explode(index_parts=False).reset_index(drop=True)


def _simplified(zones: gpd.GeoDataFrame, tolerance_m: float, *, outline: bool) -> gpd.GeoDataFrame:
    geometry = shapely.coverage_simplify(zones.geometry.array, tolerance_m, simplify_boundary=outline)
    return zones.set_geometry(gpd.GeoSeries(geometry, index=zones.index, crs=zones.crs))


def _size(zones: gpd.GeoDataFrame) -> _Size:
    parts = shapely.get_parts(zones.geometry.array)
    rings = shapely.get_num_coordinates(shapely.get_rings(parts))
    return _Size(polygons=len(parts), vertices=int(rings.sum()), ring=int(rings.max()))


def _sound(zones: gpd.GeoDataFrame, fitted: gpd.GeoDataFrame) -> bool:
    geometry = fitted.geometry.array
    if shapely.is_empty(geometry).any() or not shapely.is_valid(geometry).all():
        return False
    before = zones.geometry.area.groupby(zones["depth_mm"]).sum()
    after = fitted.geometry.area.groupby(fitted["depth_mm"]).sum()
    change = np.abs(after / before - 1.0)
    return bool(shapely.coverage_is_valid(geometry) and (change <= _MOST_AREA_CHANGE).all())


def _told(before: _Size, after: _Size, tolerance_m: float, *, outline: bool) -> Issue:
    which = "zone borders and the paddock's outline" if outline else "zone borders"
    what = f"the plan has {before.vertices} vertices ({before.ring} in one ring), more than the display takes"
    done = Said(
        "{which} simplified at {tolerance} to {vertices} ({ring} in one ring), for the display files only",
        which=which,
        tolerance=distance(tolerance_m),
        vertices=after.vertices,
        ring=after.ring,
    )
    return Issue("outputs", "display-simplified", what, done)
