"""What daily weather says of a plan: its zones summed up by soil type, beside the fit days of years."""

from hardpan.records.decision import SeasonSettings
from hardpan.records.evidence import Prepared
from hardpan.records.ledger import Ledger
from hardpan.records.plan import Plan
from hardpan.records.weather import Outlook, Work
from hardpan.season.stage import look_ahead


def outlook_of(ready: Prepared, plan: Plan, ledger: Ledger, season: SeasonSettings) -> Outlook | None:
    """What the weather says of the plan; None where none was given."""
    if ready.weather is None or ready.water is None:
        return None
    return look_ahead(ready.weather, ready.water, season, ready.catalog, _work(plan, ledger))


def fit_days_left(ready: Prepared, plan: Plan, ledger: Ledger, season: SeasonSettings) -> tuple[float, ...]:
    """Fit days for a plan after its day: as `season.fit_days` says, else in each year of the weather.

    Nothing where neither is known; no day where the season is over.
    """
    if season.fit_days is not None:
        return (season.fit_days,)
    outlook = outlook_of(ready, plan, ledger, season)
    if outlook is None or outlook.fit is None:
        return ()
    return (0.0,) if outlook.finishing is None else outlook.finishing.left


def _work(plan: Plan, ledger: Ledger) -> dict[str, Work]:
    """What the plan asks of each soil type that is ripped."""
    hours = ledger.lines[ledger.lines["item"] == "hours"].set_index("zone")["quantity"]
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    return {
        str(name): Work(
            depth_mm=float(its["depth_mm"].max()),
            hours=float(hours.reindex(its["zone"].astype(str)).sum()),
            area_ha=float(its["area_ha"].sum()),
        )
        for name, its in ripped.groupby("soil_type")
    }
