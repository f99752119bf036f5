"""Own machine or a contractor: what the same plan costs by either, and whether the two can be told apart."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.money import sign_of
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.prices import PriceTable


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hire:
    """Drawn money of the same work done by either, shape (n_draws,)."""

    own: Floats
    hired: Floats
    owning: Floats
    """Part of `own` that is paid whether the machine works or not."""

    @property
    def saved(self) -> Floats:
        """What hiring saves."""
        return self.own - self.hired


def judge_hiring(hire: Hire, prices: PriceTable, ripped_ha: float) -> tuple[str, str, Issues]:
    """Give the comparison in words, its end for the headline ("" unless hiring is surely cheaper), and the remark.

    Sure is what nine draws in ten say: the 5 and 95 % points of what hiring saves lie on one side of nothing. All are
    empty where the own machine is surely cheaper.
    """
    low, high = (float(end) / ripped_ha for end in np.quantile(hire.saved, [0.05, 0.95]))
    if high <= 0.0:
        return "", "", ()
    own, hired, owning = (float(money.mean()) / ripped_ha for money in (hire.own, hire.hired, hire.owning))
    sign = sign_of(prices.currency)
    told = (
        f"the same work costs about {own:.0f} {sign}/ha with your own machine and {hired:.0f} {sign}/ha by a contractor"
    )
    if low > 0.0:
        code, verdict = "contractor-cheaper", f"hiring saves {low:.0f} to {high:.0f} {sign}/ha"
        end = f" By a contractor, at about {hired:.0f} {sign}/ha{_doubted(prices)}, it would cost less."
    else:
        code, end = "contractor-level", ""
        verdict = (
            f"which is cheaper cannot be told (hiring: {-low:.0f} {sign}/ha dearer to {high:.0f} {sign}/ha cheaper)"
        )
    kept = f"{owning:.0f} {sign}/ha of your own is for owning it, and is paid whether it works here or not"
    what = f"{told}{_doubted(prices)}: {verdict}; {kept}"
    done = "priced and decided with your own machine; ask for a quote, with what it includes, and give it in [prices]"
    issue = Issue(outcome=Outcome.WARN, stage="costs", code=code, what=what, done=done, file="prices.toml")
    return f"{what[0].upper()}{what[1:]}.", end, (issue,)


def _doubted(prices: PriceTable) -> str:
    quoted = prices.contractor_per_ha is not None and prices.contractor_per_ha.source == "user"
    return "" if quoted else " (not a quote)"
