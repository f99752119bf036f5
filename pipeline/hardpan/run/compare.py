"""Two results from their folders to what changed."""

from pathlib import Path

from hardpan.compare.stage import compare
from hardpan.records.past import Comparison
from hardpan.run.manifest import Clock
from hardpan.run.shipped_tables import read_table
from hardpan.survey.inputs.results import read_result


def run_compare(before: Path, after: Path, clock: Clock) -> Comparison:
    """What changed from one result to another; writes nothing.

    Raises
    ------
    HardpanError
        A folder holds no result, or the two are of different ground.
    """
    with clock.stage("results"):
        results = read_result(before), read_result(after)
        prices = results[1].document["settings"].get("prices") or {}
        currency = prices.get("currency") or str(read_table("prices")["currency"])
    with clock.stage("compare"):
        return compare(*results, currency=currency)
