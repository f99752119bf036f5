"""What a user should know of the surfaces: what was left out, simplified, assumed or extrapolated."""

from collections.abc import Iterator, Mapping

import geopandas as gpd
import numpy as np
from scipy.spatial import KDTree

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.core.said import Said, depth, distance, percent
from hardpan.geostat import RANGE
from hardpan.records.issues import Issue
from hardpan.records.pan import State
from hardpan.surfaces.domain import Domain
from hardpan.surfaces.variables import MIN_SPATIAL_SITES, FittedField, Unread, Variable

_WORDS = {"pan": "presence of a pan", "top": "top of the pan", "bottom": "bottom of the pan", "peak": "peak resistance"}

_MOSTLY_MISSED = 0.5
"""An insertion that a pan would more likely lie below than above says next to nothing of its absence."""

_MANY_CENSORED = 0.5
"""Above this share of stopped insertions most of what the map says of the bottom comes from the model."""

_MANY_CLIPPED = 0.05
"""Above this share of ground top and bottom are too uncertain for their order to be left to the data."""


def refuse_too_little(insertions: gpd.GeoDataFrame) -> None:
    """Stop where no honest map can be drawn.

    Raises
    ------
    InputError
        Fewer than three usable sites.
    """
    usable = insertions[(insertions["state"] != State.UNUSABLE) & (insertions["missed"] <= _MOSTLY_MISSED)]
    n_sites = usable["site"].nunique()
    if n_sites < 3 and not (usable["state"] == State.PRESENT).any():
        raise InputError(
            what="no insertion shows a pan at the threshold of pan.critical_kpa, and only"
            f" {n_sites} of {insertions['site'].nunique()} sites were read deep enough to say that there is none",
            where="surfaces",
            right="at least 3",
            do="set pan.critical_kpa lower if this ground is hard, or pan.search_to_mm to a depth that was read",
        )
    if n_sites < 3:
        raise InputError(
            what=f"{n_sites} probe sites can be used",
            where="surfaces",
            right="at least 3",
            do="probe more places, or see why insertions were set aside",
        )


def refuse_too_few_places(presence: Variable) -> None:
    """Stop where the usable sites are at fewer than three places.

    Raises
    ------
    InputError
        So it is.
    """
    if presence.n_sites < 3:
        raise InputError(
            what=f"the usable insertions lie at {presence.n_sites} place{'s' if presence.n_sites > 1 else ''}",
            where="surfaces",
            right="at least 3 places more than half a metre apart",
            do="check the coordinates of the sites",
        )


def remark_variables(variables: Mapping[str, Variable], domain: Domain) -> Iterator[Issue]:
    """Issues of data too few or too plain for a spatial model."""
    if not len(variables["bottom"].observations.site):
        yield _issue(
            "no-pan", "no insertion met a pan", "every place is mapped as without a pan, depths are left empty"
        )
        return
    for name, variable in variables.items():
        if variable.n_sites < MIN_SPATIAL_SITES:
            yield _issue(
                "few-sites",
                f"the {_WORDS[name]} is known at {variable.n_sites} sites, fewer than {MIN_SPATIAL_SITES}",
                "mapped as the mean of the soil type with its uncertainty, without spatial structure",
                name,
            )
        elif not variable.is_spread_out(domain.sites.xy_m):
            yield _issue(
                "sites-on-a-line",
                f"the sites that tell the {_WORDS[name]} lie on one line",
                "mapped as the mean of the soil type with its uncertainty: a line says nothing of the ground beside it",
                name,
            )
        if not variable.binary and len(variable.rows) > 1 and np.ptp(variable.observations.low) == 0:
            yield _issue(
                "identical-values",
                f"all {len(variable.rows)} readings of the {_WORDS[name]} are the same",
                "mapped as that value with the least uncertainty a probe allows; check the table",
                name,
            )
    bottom = variables["bottom"]
    noisy = bottom.observations.noisy
    if len(bottom.rows) == bottom.n_sites and (noisy is None or noisy.any()):
        yield _issue(
            "one-insertion-a-site",
            "no site has two insertions that met the pan, so chance between insertions and change of ground over a few"
            " metres cannot be told apart",
            "the maps average over what each may be; repeat insertions at some sites next time",
        )
    stopped = 1.0 - float(variables["bottom"].exact.mean())
    if stopped > _MANY_CENSORED:
        yield _issue(
            "mostly-stopped",
            f"{percent(stopped)} of the insertions with a pan did not see its bottom",
            "their bottoms enter as deeper than the last hard reading; the map leans on the model, so dig to check",
        )


def remark_sites(insertions: gpd.GeoDataFrame, domain: Domain) -> Iterator[Issue]:
    """Issues of sites that are one place, of soil types without a probe, and of ground far from any."""
    merged = int(insertions["site"].nunique()) - len(domain.sites.xy_m)
    if merged:
        yield _issue(
            "coincident-sites",
            f"{merged + 1 if merged == 1 else merged} sites lie within half a metre of another",
            "taken as repeated insertions at one site",
        )
    for code, name in enumerate(domain.soil_types):
        here = domain.cells.soil == code
        if here.any() and not (domain.sites.soil == code).any():
            yield _issue(
                "soil-type-without-probe",
                f"no probe site lies on {name}, {percent(here.mean())} of the paddock",
                "mapped from the mean of the paddock, with the uncertainty of a soil type never seen",
                name,
            )


def remark_fields(fields: Mapping[str, FittedField], domain: Domain) -> Iterator[Issue]:
    """Issues of models that the data do not identify, and of ground beyond the range from any site."""
    for name, field in fields.items():
        if field.fit.is_spatial and not field.knows_range:
            yield _issue(
                "range-not-identified",
                f"the data do not tell the range of the {_WORDS[name]}",
                "its maps average over all ranges that are possible",
                name,
            )
    for name, field in fields.items():
        if not field.mixture.posterior.converged:
            yield _issue(
                "censoring-not-converged",
                f"the factors of the {_WORDS[name]}'s bounds still move",
                "used as they stand; its uncertainty is rough",
                name,
            )
    bottom = fields.get("bottom")
    if bottom is not None and bottom.knows_range:
        range_m = float(np.exp(bottom.fit.theta[RANGE]))
        with_bottom = np.unique(bottom.variable.observations.site)
        far = KDTree(domain.sites.xy_m[with_bottom]).query(domain.cells.xy_m)[0] > range_m
        if far.any():
            yield _issue(
                "beyond-the-probes",
                Said(
                    "{share} % of the paddock lies farther from any site with a pan than the range ({range})",
                    share=f"{100 * far.mean():.0f}",
                    range=distance(range_m, 0),
                ),
                "mapped from soil type and covariates alone, with the uncertainty that leaves",
            )


def remark_unknown_depth(unread: Unread) -> Iterator[Issue]:
    """Issues of ground mapped deeper than any insertion read in a pan."""
    if unread.is_much:
        yield _issue(
            "depth-not-known",
            Said(
                "over {share} % of the paddock the pan goes deeper than {depth}, the deepest reading in it",
                share=f"{100 * unread.share:.0f}",
                depth=depth(unread.deepest_mm),
            ),
            "how much deeper is not known: mapped from what is usual of a pan with a wide interval; read deeper or dig",
        )


def remark_order(top: Floats, bottom: Floats) -> Iterator[Issue]:
    """Issues of ground where top and bottom had to be kept in order."""
    share = float(np.mean(top > bottom)) if len(top) else 0.0
    if share > _MANY_CLIPPED:
        yield _issue(
            "thin-or-uncertain-pan",
            f"over {percent(share)} of the paddock the mapped top comes out below the mapped bottom",
            "the top is held a reading step above the bottom",
        )


def _issue(code: str, what: str, done: str, place: str = "") -> Issue:
    return Issue(stage="surfaces", code=code, what=what, done=done, place=place)
