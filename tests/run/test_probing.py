"""Further sites from files to places: neither names nor the order of rows move them."""

from datetime import UTC, datetime

import numpy as np

from hardpan.run.config import read_config
from hardpan.run.manifest import Clock
from hardpan.run.probing import plan_sites
from small_paddock import Small

SMALL = Small(
    sites=((30, 40), (100, 30), (170, 50), (40, 160), (110, 170)), tables={"sites": 'count = 4\nby = "worth"'}
)


def further(config):
    """Names, and place with money of its answer in walking order, (4, 3)."""
    plan = plan_sites(read_config(config), Clock(now=datetime(2027, 3, 1, tzinfo=UTC))).plan
    return list(plan.sites["site"]), np.column_stack([plan.sites.geometry.get_coordinates(), plan.sites["worth"]])


def test_other_names_and_another_order_of_rows_leave_further_sites_where_they_are(tmp_path):
    config = SMALL.write(tmp_path)
    names, places = further(config)
    header, *rows = (tmp_path / "probes.csv").read_text().splitlines()
    turned = [row.replace("S", "hole ", 1) for row in rows[3:] + rows[:3]]
    (tmp_path / "probes.csv").write_text("\n".join([header, *turned]) + "\n")
    others, again = further(config)
    assert np.array_equal(places, again)
    assert set(names).isdisjoint(others)
    assert places[:, 2].max() > 0.0
