"""Own machine or a contractor: what the same plan costs by either, and whether the two can be told apart."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.money import sign_of
from hardpan.core.said import Said, per_ha
from hardpan.records.advice import Cheaper, Hiring
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


def judge_hiring(hire: Hire, prices: PriceTable, ripped_ha: float) -> Hiring | None:
    """Comparison of the two by ha, None where the own machine is surely cheaper.

    Sure is what nine draws in ten say: the 5 and 95 % points of what hiring saves lie on one side of nothing.
    """
    low, high = (float(end) / ripped_ha for end in np.quantile(hire.saved, [0.05, 0.95]))
    if high <= 0.0:
        return None
    own, hired, owning = (float(money.mean()) / ripped_ha for money in (hire.own, hire.hired, hire.owning))
    return Hiring(
        cheaper=Cheaper.CONTRACTOR if low > 0.0 else Cheaper.LEVEL,
        own=own,
        hired=hired,
        owning=owning,
        low=low,
        high=high,
        quoted=prices.contractor_per_ha is not None and prices.contractor_per_ha.source == "user",
    )


def hiring_issues(hiring: Hiring | None, currency: str) -> Issues:
    """Remark on a contractor who is cheaper, or of whom it cannot be told."""
    if hiring is None:
        return ()
    sign = sign_of(currency)
    money = {name: per_ha(getattr(hiring, name), sign) for name in ("own", "hired", "owning", "high")}
    end = "hiring saves {low} to {high}"
    low = per_ha(hiring.low, sign, bare=True)
    if hiring.cheaper is Cheaper.LEVEL:
        end = "which is cheaper cannot be told (hiring: {low} dearer to {high} cheaper)"
        low = per_ha(-hiring.low, sign)
    what = Said(
        "the same work costs about {own} with your own machine and {hired} by a contractor{doubt}: "
        + end
        + "; {owning} of your own is for owning it, and is paid whether it works here or not",
        doubt="" if hiring.quoted else " (not a quote)",
        low=low,
        **money,
    )
    done = "priced and decided with your own machine; ask for a quote, with what it includes, and give it in [prices]"
    code = str(hiring.cheaper)
    return (Issue(outcome=Outcome.WARN, stage="costs", code=code, what=what, done=done, file="prices.toml"),)
