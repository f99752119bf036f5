"""Plans of the demo and of three invented paddocks as reviewed texts, and whether a plan is still that one.

`make snapshot` runs the demo and writes demo_plan.txt anew, and with it the invented season after the pass, which was
made for that plan; look at `git diff tests/golden`, and say in the commit zone by zone why what changed is right. A
change nobody can explain is a fault, not a new snapshot.
"""

from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import after_the_plan
import pandas as pd

from golden.paddocks import PADDOCKS, run_paddock_of
from hardpan.core.shipped import shipped
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.records.evidence import PaddockRun
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.manifest import Clock

FOLDER = Path(__file__).parent
DEMO = "demo"
TITLES = {DEMO: "the demo paddock (data/demo, invented)"} | {
    name: f"the invented paddock {name!r} of tests/golden/paddocks.py" for name in PADDOCKS
}
"""What each plan is of."""

EXACT = ("zone", "kind", "soil_type", "depth_mm", "setup", "passes")
"""Columns that are the same or wrong."""

WITHIN = {"area_ha": 0.1, "cost": 10.0, "net": 10.0}
"""Columns that may be off by as much as they are rounded to: processors differ in the last digits."""

HEAD = """\
# The plan of {name}, reviewed. Made by `make snapshot`; see tests/golden/snapshot.py.
# Zone, kind, soil type, depth, set-up and passes are held exactly, hectares to 0.1 ha, money to 10 {currency} a zone.
"""


def plan_table(run: PaddockRun) -> pd.DataFrame:
    """Plan of a run, one row a zone, with what it costs and what it leaves, columns `EXACT` and `WITHIN`."""
    money = run.ledger.lines.pivot_table(index="zone", columns="item", values="amount", aggfunc="sum").reindex(
        columns=["cost", "net return"]
    )
    zones = run.plan.zones.reset_index(drop=True)
    of_zone = money.reindex(zones["zone"].astype(str)).fillna(0.0).reset_index(drop=True)
    table = pd.DataFrame(zones[[*EXACT, "area_ha"]])
    return table.assign(cost=of_zone["cost"], net=of_zone["net return"]).fillna("")


def snapshot_of(name: str) -> Path:
    """File of the reviewed plan of a paddock."""
    return FOLDER / f"{name}_plan.txt"


def to_text(table: pd.DataFrame, name: str, currency: str) -> str:
    """The text of a plan: a line a zone, columns parted by bars."""
    told = table.assign(
        **{name: table[name].map(lambda x, to=to: f"{round(x / to) * to:g}") for name, to in WITHIN.items()}
    )
    told = told.assign(area_ha=table["area_ha"].map("{:.1f}".format), setup=table["setup"].replace("", "-")).astype(str)
    heads = [f"{one}_{currency.lower()}" if one in {"cost", "net"} else one for one in told.columns]
    rows = [heads, *told.to_numpy().tolist()]
    widths = [max(len(row[column]) for row in rows) for column in range(len(told.columns))]
    lines = (" | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows)
    return HEAD.format(name=TITLES[name], currency=currency) + "\n".join(lines) + "\n"


def from_text(text: str) -> pd.DataFrame:
    """The plan in a text, as `plan_table`, numbers rounded."""
    head, *rows = ([cell.strip() for cell in line.split("|")] for line in text.splitlines() if not line.startswith("#"))
    names = [one.partition("_")[0] if one.startswith(("cost_", "net_")) else one for one in head]
    table = pd.DataFrame(rows, columns=names)
    numbers = dict.fromkeys(WITHIN, float) | dict.fromkeys(("zone", "depth_mm", "passes"), int)
    return table.assign(setup=table["setup"].replace("-", "")).astype(numbers)


def differences(reviewed: pd.DataFrame, found: pd.DataFrame) -> list[str]:
    """What a plan has other than the reviewed one, a line each; none where they are the same."""
    if len(reviewed) != len(found):
        return [f"{len(found)} zones instead of {len(reviewed)}"]
    told = []
    for (_, was), (_, now) in zip(reviewed.iterrows(), found.iterrows(), strict=True):
        pairs = [(name, now[name], was[name]) for name in EXACT if was[name] != now[name]]
        off = [name for name, most in WITHIN.items() if abs(was[name] - now[name]) > most]
        pairs += [(name, f"{now[name]:.1f}", f"{was[name]:.1f}") for name in off]
        told += [f"zone {was['zone']}: {name} is {new}, was {old}" for name, new, old in pairs]
    return told


def run_demo() -> PaddockRun:
    """The demo paddock, run as it is shipped."""
    return run_paddock(read_config(shipped("demo") / "demo.toml"), Clock(now=datetime(2027, 3, 1, tzinfo=UTC)))


def main() -> None:
    """Write the snapshots and the demo's season anew and print what is different in each plan."""
    for name in TITLES:
        with TemporaryDirectory() as folder:
            run = _demo_and_season(Path(folder)) if name == DEMO else run_paddock_of(name, Path(folder)).run
        found, path = plan_table(run), snapshot_of(name)
        before = from_text(path.read_text(encoding="utf-8")) if path.exists() else found.iloc[:0]
        path.write_text(to_text(found, name, run.catalog.prices.currency), encoding="utf-8")
        print(f"{name}: " + ("; ".join(differences(before, found)) or "nothing changed"))


def _demo_and_season(folder: Path) -> PaddockRun:
    """The demo, run, and its season after written anew."""
    run = run_demo()
    write_outputs(run, OutputSettings(formats=("geojson",)), folder / "demo")
    after_the_plan.main(folder / "demo")
    return run


if __name__ == "__main__":
    main()
