"""Pan features in, maps with uncertainty out."""

import logging

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from hardpan.core.threads import Progress, silent
from hardpan.records.pan import PanFeatures
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Survey
from hardpan.surfaces.beforehand import hold, inform
from hardpan.surfaces.clay import map_clay
from hardpan.surfaces.domain import Domain, build_domain, merge_sites
from hardpan.surfaces.estimates import describe_models, describe_trends, weigh_covariances
from hardpan.surfaces.fields import PLAIN, fit_field, fit_fields
from hardpan.surfaces.forecasts import forecast_fields, tabulate_residuals
from hardpan.surfaces.many_sites import MOST_JOINT, condition_all, draw_many_sites, map_many_sites, thin_sites
from hardpan.surfaces.maps import (
    compose_draws,
    compose_maps,
    draw_fields,
    map_fields,
    share_deeper,
    spread_of_means,
    unscale,
)
from hardpan.surfaces.remarks import (
    refuse_too_few_places,
    refuse_too_little,
    remark_fields,
    remark_order,
    remark_sites,
    remark_unknown_depth,
    remark_variables,
)
from hardpan.surfaces.report import describe_variograms, map_errors, verdict_of
from hardpan.surfaces.scores import score_fields
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.variables import (
    Unread,
    Variable,
    read_bottom,
    read_peak,
    read_presence,
    read_slice,
    read_top,
    unread_ground,
)

logger = logging.getLogger(__name__)


def map_pan(
    pan: PanFeatures, survey: Survey, settings: SurfaceSettings, *, seed: int, progress: Progress = silent
) -> Surfaces:
    """Maps of the pan's presence, top, bottom and peak, their uncertainty, and joint draws.

    Raises
    ------
    InputError
        As `check_mappable`.
    """
    check_mappable(pan)
    insertions = in_order(pan.insertions)
    domain, issues = build_domain(insertions, survey, settings)
    fitted, at = (insertions, domain)
    if len(domain.sites.xy_m) > MOST_JOINT:
        fitted, at, told = thin_sites(insertions, domain)
        issues.append(told)
    variables = read_variables(fitted, at, settings)
    fields = fit_fields(variables, at, settings)
    logger.info(
        "fitted %s at %d places; %d cells and %d draws at %d nodes follow",
        ", ".join(fields), len(at.sites.xy_m), domain.inside.sum(), settings.draws, domain.node_of_cell.max() + 1,
    )  # fmt: skip
    block_m, threads = domain.frame.cell_m if settings.block else None, settings.threads
    if at is domain:
        cells = map_fields(fields, domain, block_m=block_m, threads=threads, progress=progress)
        drawn = draw_fields(fields, domain, settings.draws, seed=seed, threads=threads)
    else:
        nears = condition_all(fields, read_variables(insertions, domain, settings), domain, threads)
        cells = map_many_sites(nears, fields, domain, block_m=block_m, threads=threads, progress=progress)
        drawn = draw_many_sites(nears, fields, domain, settings.draws, seed=seed, threads=threads)
    clay = map_clay(survey, fitted, at, settings, seed=seed)
    draws = compose_draws(drawn, fields, clay, domain)
    by_site = forecast_fields(fields, np.arange(len(at.sites.xy_m)))
    scores = score_fields(fields, by_site, at)
    issues += remark_sites(insertions, domain)
    issues += remark_variables(variables, at)
    issues += remark_fields(fields, at)
    bottom_sd_mm, unread = np.empty(0), Unread()
    if "bottom" in fields:
        bottom, bottom_sd_mm = unscale(fields["bottom"], cells["bottom"])
        issues += remark_order(unscale(fields["top"], cells["top"])[0], bottom)
        unread = unread_ground(variables["bottom"], bottom)
        issues += remark_unknown_depth(unread)
    return Surfaces(
        frame=domain.frame,
        inside=domain.inside,
        maps=compose_maps(cells, fields, clay, domain),
        soil_types=domain.soil_types,
        slices=_map_slices(pan, fitted, at, settings),
        deeper=share_deeper(draws, settings.deeper_than_mm if "bottom" in fields else (), domain),
        draws=draws,
        node_of_cell=domain.node_of_cell,
        mean_sd=spread_of_means(draws, domain) if "bottom" in fields else {},
        errors=map_errors(fields, at),
        scores=scores,
        residuals=tabulate_residuals(fields, by_site, fitted),
        models=describe_models(fields, at),
        covariances=weigh_covariances(fields),
        coefficients=describe_trends(fields, at),
        variograms=describe_variograms(fields),
        verdict=verdict_of(scores, fields, at, bottom_sd_mm, precision_mm=settings.precision_mm, unread=unread),
        issues=tuple(issues),
    )


def check_mappable(pan: PanFeatures) -> None:
    """Refuse what no honest map can be drawn from.

    Raises
    ------
    InputError
        Fewer than three usable sites or places.
    """
    insertions = in_order(pan.insertions)
    refuse_too_little(insertions)
    refuse_too_few_places(read_presence(insertions, merge_sites(insertions.assign(date=""))[0]))


def read_variables(insertions: gpd.GeoDataFrame, domain: Domain, settings: SurfaceSettings) -> dict[str, Variable]:
    """Presence, peak, top and bottom as read at the domain's sites, with what is usual of them."""
    readers = {"pan": read_presence, "peak": read_peak, "top": read_top, "bottom": read_bottom}
    known = inform({name: read(insertions, domain.site_of) for name, read in readers.items()}, settings.priors)
    return {name: hold(variable, getattr(settings.covariance, name)) for name, variable in known.items()}


def in_order(insertions: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Insertions in an order that does not depend on that of the file."""
    keys = pd.DataFrame({"x": insertions.geometry.x.to_numpy(), "y": insertions.geometry.y.to_numpy()})
    for name in ("state", "bottom_kind", "top_mm", "bottom_low_mm", "peak_kpa", "site"):
        keys[name] = insertions[name].to_numpy()
    return insertions.iloc[keys.sort_values(list(keys.columns), kind="stable").index].reset_index(drop=True)


def _map_slices(
    pan: PanFeatures, insertions: gpd.GeoDataFrame, domain: Domain, settings: SurfaceSettings
) -> xr.DataArray:
    """Mean cone index of each depth slice that at least three sites have read; none unless asked for."""
    depths, grids = [], []
    means = pan.slices.reindex(insertions["insertion"])
    for depth_mm in means.columns.to_numpy(float) if settings.slices else ():
        variable = read_slice(means[depth_mm].to_numpy(float), domain.site_of, f"slice at {depth_mm:.0f} mm")
        if variable.n_sites < 3:
            continue
        fields = {"slice": fit_field(variable, domain, PLAIN)}
        moments = map_fields(fields, domain, block_m=None, threads=settings.threads, progress=silent)["slice"]
        centre, sd = unscale(fields["slice"], moments)
        depths.append(float(depth_mm))
        grids.append(domain.on_grid(np.exp(centre + 0.5 * sd**2)))
    return xr.DataArray(
        np.stack(grids) if grids else np.empty((0, *domain.frame.shape)),
        dims=("depth", "y", "x"),
        coords={"depth": depths, "y": domain.frame.y_m, "x": domain.frame.x_m},
    )
