"""What two results have in common, cell by cell and draw by draw."""

from hardpan.records.comparison import PastRun


def same_grid(before: PastRun, after: PastRun) -> bool:
    """Whether both have maps, on the same cells."""
    shapes = [next(iter(run.maps.values())).shape if run.maps else None for run in (before, after)]
    return shapes[0] is not None and shapes[0] == shapes[1] and before.grid == after.grid


def paired(before: PastRun, after: PastRun) -> bool:
    """Whether draw by draw the two runs met the same ground, prices and responses: same readings, cells and seed."""
    seeds = {run.document["settings"]["paddock"].get("seed") for run in (before, after)}
    counts = {len(draws) for run in (before, after) for draws in run.draws.values()}
    same = before.document["inputs_sha256"] == after.document["inputs_sha256"] and same_grid(before, after)
    return same and len(seeds) == 1 and len(counts) == 1
