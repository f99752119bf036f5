"""Three invented paddocks through `hardpan run`, once each: the reviewed plan, and no two numbers for one thing."""

import json
import re
import shutil
import subprocess

import pytest

from builders.pages import METRIC, metric_in
from golden.paddocks import PADDOCKS, run_paddock_of
from golden.printed import Printed, disagreements, exact, gather, page_of, tables_of
from golden.snapshot import differences, from_text, plan_table, snapshot_of, to_text


@pytest.fixture(scope="module", params=sorted(PADDOCKS))
def ran(request, tmp_path_factory):
    return request.param, run_paddock_of(request.param, tmp_path_factory.mktemp(request.param))


@pytest.fixture(scope="module")
def printed(ran):
    return gather(ran[1].folder, ran[1].said)


def test_the_plan_is_the_one_that_was_reviewed(ran):
    """Where the change is meant: `make snapshot`, look at the difference, and say in the commit why it is right."""
    reviewed = snapshot_of(ran[0]).read_text(encoding="utf-8")
    assert differences(from_text(reviewed), plan_table(ran[1].run)) == []
    assert to_text(from_text(reviewed), ran[0], ran[1].run.catalog.prices.currency) == reviewed


def test_no_two_numbers_are_printed_for_one_thing(ran, printed):
    assert disagreements(printed) == []
    ripped = (ran[1].run.plan.zones["depth_mm"] > 0).any()
    places = {one.where for one in printed}
    assert places >= {"terminal", "report", "first table", "heading of the report"}
    assert ("table of paybacks" in places) == ripped
    if shutil.which("pdftotext") is not None:
        assert ("card" in places) == ripped


def test_what_is_printed_is_what_the_tables_hold(ran, printed):
    """Zones are rounded so that they add up to the total: each may be off by less than one of its last digit."""
    full = exact(ran[1].folder)
    compared = [(one, full[one.what]) for one in printed if one.what in full]
    assert len({one.what for one, _ in compared}) >= 3
    assert [
        f"{one.what}: {one.text} of {value} ({one.where})"
        for one, value in compared
        if abs(one.value - value) >= one.unit
    ] == []


@pytest.mark.parametrize("item", ["area", "hours", "fuel"])
def test_printed_zones_add_up_to_the_printed_total(printed, item):
    of_zone = {one.what: one for one in printed if re.fullmatch(rf"zone \d+ {item}", one.what)}
    total = [one for one in printed if one.what == item]
    if not total:
        assert not of_zone
        return
    assert sum(one.value for one in of_zone.values()) == pytest.approx(total[0].value, abs=1e-6)


def test_the_parts_of_the_cost_add_up_to_it(ran):
    page = page_of(ran[1].folder)
    cost = re.search(r"The cost of (\d+) \$/\w+ is (.*?)\. Owning", page)
    assert (cost is not None) == (ran[1].run.plan.zones["depth_mm"] > 0).any()
    if cost is not None:
        assert sum(int(part) for part in re.findall(r"(\d+) \$/", cost[2])) == int(cost[1])


def test_a_reader_who_meets_two_numbers_says_so(printed):
    """The reader itself: a zone that is told a tenth larger in one place only is found."""
    first = next(one for one in printed if one.what == "area")
    other = Printed(what=first.what, where="elsewhere", text=f"{first.value + 0.1:.1f}")
    (told,) = disagreements([*printed, other])
    assert told.startswith("area: ")


def test_us_readers_meet_no_metric_unit(ran):
    if ran[0] != "coast":
        pytest.skip("its reader is metric")
    page = (ran[1].folder / "report.html").read_text(encoding="utf-8")
    assert metric_in(page) == []
    assert METRIC.findall(ran[1].said) == []
    scripts = re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', page, re.DOTALL)
    texts = [text for script in scripts for text in _texts(json.loads(script))]
    assert len(texts) > 5
    assert [text for text in texts if METRIC.search(text)] == []
    if shutil.which("pdftotext") is not None:
        card = [str(ran[1].folder / "job-card.pdf"), "-"]
        assert (
            METRIC.findall(subprocess.run(["pdftotext", *card], capture_output=True, text=True, check=True).stdout)
            == []
        )


def _texts(plain):
    """Texts that JSON holds, but for long ones without a blank, which are packed arrays."""
    if isinstance(plain, str):
        yield from [plain] if " " in plain or len(plain) < 20 else []
    elif isinstance(plain, dict | list):
        for one in plain.values() if isinstance(plain, dict) else plain:
            yield from _texts(one)


def test_the_tables_of_the_report_are_found(ran):
    page = (ran[1].folder / "report.html").read_text(encoding="utf-8")
    captions = " ".join(tables_of(page))
    assert "One row a zone" in captions
