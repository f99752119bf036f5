"""Universal kriging by one Cholesky factor: points, blocks, grids, many right-hand sides, exact leave-one-out.

The model is value = drift @ beta + structures + micro(site) + noise(insertion). What is mapped is the field: drift,
structures and micro-scale, never the noise. Micro-scale counts at a point (and is known at a site with data); over a
block it averages out, so it is neither in the block's variance nor in its covariance with the data.
"""

from hardpan.geostat.folds import leave_one_out
from hardpan.geostat.grids import predict_grid
from hardpan.geostat.points import Prediction, predict
from hardpan.geostat.system import System, factorise, solve_weights

__all__ = ["Prediction", "System", "factorise", "leave_one_out", "predict", "predict_grid", "solve_weights"]
