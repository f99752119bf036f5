"""Simulated passes with a known loosening, in soil that has dried or been wetted since the survey.

`python -m truth.passes` prints the table of tests/README.md.
"""

import numpy as np
import pandas as pd

from builders.after import TRUTHS, Pass, simulate
from hardpan.records.after import Judged, Position, VerdictSettings
from hardpan.verify.stage import verify_pass

MOISTURE = (0.63, 1.6)
"""Range of cone index of the later day over that of the survey."""


def study(seeds: range, *, sites: int = 4, controls: int = 4) -> pd.DataFrame:
    """One row a simulated pass: `truth`, `right` verdict, `verdict`."""
    rows = []
    for seed in seeds:
        moisture = float(np.exp(np.random.default_rng([seed, 5]).uniform(*np.log(MOISTURE))))
        for truth, right in TRUTHS.items():
            found = verify_pass(
                *simulate(seed, Pass(truth=truth, moisture=moisture, sites=sites, controls=controls)), VerdictSettings()
            ).zones[0]
            rows.append({"truth": truth, "right": right, "verdict": found.verdict})
    return pd.DataFrame(rows)


def line_only(seeds: range) -> set[Judged]:
    """Verdicts where insertions stand on the line alone."""
    return {
        verify_pass(*simulate(seed, Pass(truth=truth, positions=(Position.LINE,))), VerdictSettings()).zones[0].verdict
        for seed in seeds
        for truth in TRUTHS
    }


def table(found: pd.DataFrame) -> pd.DataFrame:
    """Passes, shares of right and wrong verdicts and of "cannot tell", by truth."""
    told = found.assign(
        right_share=found["verdict"] == found["right"],
        cannot_tell=found["verdict"] == Judged.CANNOT_TELL,
        wrong=(found["verdict"] != found["right"]) & (found["verdict"] != Judged.CANNOT_TELL),
    )
    grouped = told.groupby("truth", sort=False)[["right_share", "cannot_tell", "wrong"]].mean()
    return grouped.assign(passes=told.groupby("truth").size())


def main() -> None:
    """Print 200 passes of each kind by the number of sites and controls."""
    for sites, controls in ((3, 3), (4, 2), (4, 4), (6, 6)):
        print(f"{sites} sites, {controls} controls")  # noqa: T201
        print(table(study(range(200), sites=sites, controls=controls)).round(3))  # noqa: T201


if __name__ == "__main__":
    main()
