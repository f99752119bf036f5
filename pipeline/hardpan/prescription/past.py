"""What the last ripping says about the next one."""

from hardpan.core.said import Said, depth
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.season import HistorySettings


def last_ripping(history: HistorySettings, catalog: Catalog, soil_types: tuple[str, ...]) -> Issues:
    """Say how deep the paddock was ripped before, and how much deeper common practice goes the next time."""
    if history.last_depth_mm is None:
        return ()
    deeper = {soil.value for name in soil_types if (soil := catalog.soils[name].deeper_next) is not None}
    when = f" in {history.last_ripped}" if history.last_ripped is not None else ""
    usual = "common practice goes about {more} deeper the next time, but " if deeper else ""
    return (
        Issue(
            outcome=Outcome.ACCEPT,
            stage="prescription",
            code="ripped-before",
            what=Said("the paddock was ripped to {depth}{when}", depth=depth(history.last_depth_mm), when=when),
            done=Said(f"{usual}the depths follow the pan that was probed since", more=depth(max(deeper, default=0.0))),
            place="[history]",
        ),
    )
