"""Random fields in the plane, on plain arrays of x, y and z: variogram, REML, kriging, leave-out, simulation.

The public functions take and give values in the units of the observations:

>>> from hardpan import geostat
>>> x, y, z = [0.0, 30.0], [0.0, 0.0], [1.0, 3.0]
>>> one = geostat.Structure(family="exponential", sill=1.0, length_m=50.0)
>>> field = geostat.condition(geostat.observe(x, y, z), geostat.Covariance(structures=(one,), micro=0.1))
>>> geostat.krige(field, [15.0], [40.0]).mean.round(6)  # as far from one as from the other
array([2.])

The rest is the engine beneath, as the surfaces of the pan use it: mixed models on scaled values, intervals, mixtures.
"""

from hardpan.geostat.covariance import FAMILIES, LOCAL, Covariance, Family, Structure, covariance_between
from hardpan.geostat.effects import Effect, Effects, fit_effects
from hardpan.geostat.estimation import FittedCovariance, fit_reml, search_reml
from hardpan.geostat.field import Field, condition, integrate, krige, krige_grid, leave_out, simulate
from hardpan.geostat.grids import KrigingGrid
from hardpan.geostat.kriging import Kriged, krige_cells, krige_places, leave_out_sites
from hardpan.geostat.mixture import Mixture, condition_on, integrate_parameters, points_at
from hardpan.geostat.model import MixedModel
from hardpan.geostat.neighbourhood import krige_nearest
from hardpan.geostat.noise import NODES, SITES, Noise
from hardpan.geostat.observations import Observations, interval_moments
from hardpan.geostat.parameters import (
    ANISO_COS,
    ANISO_SIN,
    EFFECTIVE_RANGE,
    ISOTROPIC,
    MICRO,
    N_PARAMETERS,
    NOISE,
    PRIOR_HIGH,
    PRIOR_RANGE_FACTOR,
    RANGE,
    SHORT_RATIO,
    SHORT_SHARE,
    SILL,
    Priors,
    isotropic,
    parameter_bounds,
    to_correlation,
    to_covariance,
)
from hardpan.geostat.pseudodata import gaussian_pseudodata, morton_order
from hardpan.geostat.reml import RemlFit, maximise_reml, observe_information
from hardpan.geostat.residuals import Residuals, reml_curve, residual_variogram, search_starts
from hardpan.geostat.simulation import MOST_TORUS, draw_mixture, draw_on_lattice
from hardpan.geostat.sites import Data, observe
from hardpan.geostat.variogram import Variogram, VariogramFit, empirical_variogram, fit_variogram

__all__ = [
    "ANISO_COS",
    "ANISO_SIN",
    "EFFECTIVE_RANGE",
    "FAMILIES",
    "ISOTROPIC",
    "LOCAL",
    "MICRO",
    "MOST_TORUS",
    "NODES",
    "NOISE",
    "N_PARAMETERS",
    "PRIOR_HIGH",
    "PRIOR_RANGE_FACTOR",
    "RANGE",
    "SHORT_RATIO",
    "SHORT_SHARE",
    "SILL",
    "SITES",
    "Covariance",
    "Data",
    "Effect",
    "Effects",
    "Family",
    "Field",
    "FittedCovariance",
    "Kriged",
    "KrigingGrid",
    "MixedModel",
    "Mixture",
    "Noise",
    "Observations",
    "Priors",
    "RemlFit",
    "Residuals",
    "Structure",
    "Variogram",
    "VariogramFit",
    "condition",
    "condition_on",
    "covariance_between",
    "draw_mixture",
    "draw_on_lattice",
    "empirical_variogram",
    "fit_effects",
    "fit_reml",
    "fit_variogram",
    "gaussian_pseudodata",
    "integrate",
    "integrate_parameters",
    "interval_moments",
    "isotropic",
    "krige",
    "krige_cells",
    "krige_grid",
    "krige_nearest",
    "krige_places",
    "leave_out",
    "leave_out_sites",
    "maximise_reml",
    "morton_order",
    "observe",
    "observe_information",
    "parameter_bounds",
    "points_at",
    "reml_curve",
    "residual_variogram",
    "search_reml",
    "search_starts",
    "simulate",
    "to_correlation",
    "to_covariance",
]
