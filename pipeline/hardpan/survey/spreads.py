"""Standard errors of readings that are the means of a site's insertions."""

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.records.issues import Issue
from hardpan.survey.columns import Spread
from hardpan.survey.notes import counted, warned


def standard_errors(
    spread: Floats, count: Floats | None, kpa: Floats, of: Spread, file: str
) -> tuple[Floats, tuple[Issue, ...]]:
    """Standard errors (kPa) of readings that are means, NaN where none is known, shape (n,).

    A standard deviation between k insertions is over the root of k the standard error of their mean. One of zero would
    make a mean certain and is taken as not stated.

    Parameters
    ----------
    spread : Floats
        Standard errors or deviations, kPa, shape (n,).
    count : Floats or None
        Insertions that each reading is the mean of, shape (n,).
    kpa : Floats
        The readings, shape (n,).
    of : Spread
        What `spread` is.
    file : str
        The file.

    Raises
    ------
    AmbiguousInputError
        Nobody says how many insertions the deviations are of.
    InputError
        They are as large as the readings.
    """
    if of.kind == "sd":
        if count is None:
            raise AmbiguousInputError(
                what=f"the standard deviations in {of.name!r} stand beside no number of insertions",
                where=file,
                do="add a column with the number each mean is of and name it in probes.columns.n, or give standard "
                "errors",
            )
        spread = spread / np.sqrt(np.where(count > 0, count, np.nan))
    known = spread > 0
    if not known.any():
        return np.full(len(kpa), np.nan), ()
    both = known & (kpa > 0)
    if both.any() and np.median(spread[both] / kpa[both]) > 1.0:
        raise InputError(
            what=f"the standard errors in {of.name!r} are larger than the readings"
            f" ({np.median(spread[both]):.4g} kPa on the median)",
            where=file,
            right="those of the means, in the unit that their header states or that of the readings",
            do="check that column and the unit in its header",
        )
    zero = spread == 0
    done = "taken as the readings' error in place of pan.noise_share and of chance between insertions"
    issues = [warned("site-means", f"{counted(int(known.sum()), 'reading')} with a standard error", done, file=file)]
    if zero.any():
        what = f"{counted(int(zero.sum()), 'standard error')} of 0"
        issues.append(warned("zero-error", what, "taken as not stated: no mean is certain", file=file))
    return np.where(known, spread, np.nan), tuple(issues)
