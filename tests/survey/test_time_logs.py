"""Time logs of ISO 11783-10 written byte by byte, read to what was written, and to what a general library reads."""

import numpy as np
import pandas as pd
import pytest

from builders.machine_log import DAY, Record, TaskData, packed
from builders.node import run_script, with_library
from hardpan.core.errors import InputError
from hardpan.survey.time_logs import Damage, log_names, read_time_log

HEADER = b'<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0034" B="" C="DET-1"/><DLV A="008d" B="" C="DET-1"/></TIM>'
FIVE = [
    Record(ms=1000 * at, latitude=-33.5 - at * 1e-5, longitude=121.2, values=[(0, 300 + at)] if at % 2 == 0 else [])
    for at in range(5)
]
READER = """
const { readFileSync } = require("fs");
const { ISOXMLManager } = require("isoxml");
const manager = new ISOXMLManager();
manager.parseISOXMLFile(new Uint8Array(readFileSync(process.argv[2])), "application/zip").then(() => {
  const logs = manager.rootElement.attributes.Task[0].attributes.TimeLog.map((log) => {
    const { timeLogs } = log.parseBinaryFile();
    return { records: timeLogs.map((one) => ({ time: one.time.getTime(), place: one.position, values: one.values })),
             filled: log.getFilledTimeLogs().map((one) => one.values), errors: log.parsingErrors };
  });
  console.log(JSON.stringify({ warnings: manager.getWarnings().map(String), logs }));
});
"""


def read(records, header=HEADER):
    return read_time_log(header, records if isinstance(records, bytes) else packed(records), "TLG00001")


def test_every_field_is_read_as_it_was_written():
    log = read(FIVE)
    assert log.damage is None
    assert (log.time_ms - DAY * 86_400_000).tolist() == [0, 1000, 2000, 3000, 4000]
    assert log.latitude == pytest.approx([-33.5 - at * 1e-5 for at in range(5)], abs=1e-7)
    assert log.longitude == pytest.approx([121.2] * 5, abs=1e-7)
    np.testing.assert_array_equal(log.logged[:, 0], [300, np.nan, 302, np.nan, 304])
    assert np.isnan(log.logged[:, 1]).all()
    assert [entry.ddi for entry in log.entries] == [52, 141]


def test_attributes_that_are_filled_hold_for_the_whole_file():
    header = b'<TIM A="" D="4"><PTN A="" B="" D="0"/><DLV A="0034" B="310" C="DET-1"/></TIM>'
    body = b"".join(record.packed()[:14] + b"\0" for record in FIVE)
    log = read(body, header)
    assert log.logged[:, 0].tolist() == [310] * 5
    assert not log.fix.any()


def test_every_attribute_of_a_position_takes_its_own_room():
    header = HEADER.replace(b'D=""', b'C="" D="" E="" F="" G="" H="" I=""')
    body = b"".join(
        record.packed()[:14]
        + b"\x10\0\0\0"
        + b"\4"
        + b"\x0a\0\x0b\0\x07"
        + b"\1\0\0\0"
        + b"\2\0"
        + record.packed()[15:]
        for record in FIVE
    )
    log = read(body, header)
    assert log.damage is None
    np.testing.assert_array_equal(log.logged[:, 0], [300, np.nan, 302, np.nan, 304])


def test_a_position_that_is_not_there_is_none():
    rows = [Record(ms=0, latitude=0, longitude=0), Record(ms=1, latitude=214.7483647, longitude=214.7483647),
            Record(ms=2, latitude=-33.5, longitude=121.2, status=0), FIVE[3]]  # fmt: skip
    log = read(rows)
    assert np.isnan(log.latitude).tolist() == [True, True, False, False]
    assert log.fix.tolist() == [False, False, False, True]


def test_values_and_times_that_are_not_available_are_missing():
    rows = [Record(ms=0, latitude=-33, longitude=121, values=[(0, -(2**31))]),
            Record(ms=4294967295, latitude=-33, longitude=121, values=[(0, 2**31 - 1)]),
            Record(ms=5, latitude=-33, longitude=121, values=[(0, -40)], day=65535),
            FIVE[4]]  # fmt: skip
    log = read(rows)
    assert log.damage is None
    np.testing.assert_array_equal(log.logged[:, 0], [np.nan, np.nan, -40, 304])
    assert np.isnan(log.time_ms).tolist() == [False, True, True, False]


@pytest.mark.parametrize("cut", [1, 5, 10, 15, 16, 18])
def test_a_log_that_is_cut_off_is_kept_up_to_the_cut(cut):
    log = read(packed(FIVE)[:-cut])
    assert log.damage is Damage.CUT
    assert len(log.time_ms) == 4
    assert log.lost_bytes == len(FIVE[4].packed()) - cut


def test_a_value_of_no_entry_ends_what_can_be_believed():
    wrong = Record(ms=9, latitude=-33.5, longitude=121.2, values=[(2, 300)])
    log = read([*FIVE[:3], wrong, FIVE[4]])
    assert log.damage is Damage.INDEX
    assert len(log.time_ms) == 3
    assert log.lost_bytes == len(wrong.packed()) + len(FIVE[4].packed())


@pytest.mark.parametrize("day", [DAY + 2, DAY - 2, 1])
def test_a_date_that_jumps_ends_what_can_be_believed(day):
    log = read([*FIVE[:3], Record(ms=3000, latitude=-33.5, longitude=121.2, day=day), FIVE[4]])
    assert log.damage is Damage.DATE
    assert len(log.time_ms) == 3


def test_midnight_is_no_jump():
    late = Record(ms=86_399_000, latitude=-33.5, longitude=121.2)
    log = read([late, Record(ms=0, latitude=-33.5, longitude=121.2, day=DAY + 1)])
    assert log.damage is None
    assert np.diff(log.time_ms).tolist() == [1000]


def test_an_empty_log_has_no_records():
    log = read(b"")
    assert log.damage is None
    assert len(log.time_ms) == 0
    assert log.logged.shape == (0, 2)


@pytest.mark.parametrize(
    ("header", "says"),
    [
        (b"", "no XML"),
        (b"<TIM", "no XML"),
        (b"<X/>", "TIM"),
        (b'<TIM A=""><DLV A="zz" B=""/></TIM>', "entry of the header"),
        (b'<!DOCTYPE x [<!ENTITY a "b">]><TIM A=""/>', "no XML"),
    ],
)
def test_a_header_that_cannot_be_read_is_refused(header, says):
    with pytest.raises(InputError, match=says):
        read(FIVE, header)


def test_task_data_name_their_logs_once_each():
    files = TaskData({"TLG00001": b"", "TLG00002": b""}).files()
    assert log_names({name.upper(): blob for name, blob in files.items()}, "x") == ["TLG00001", "TLG00002"]
    with pytest.raises(InputError, match=r"TASKDATA\.XML"):
        log_names({}, "x")


@pytest.mark.slow
def test_the_javascript_library_reads_the_same(tmp_path_factory):
    """Known pattern: depth rises 5 mm every third record, work state and width change now and then."""
    folder = with_library(tmp_path_factory.mktemp("node"))
    (folder / "logs.js").write_text(READER)
    rng, rows = np.random.default_rng(1), []
    for at in range(400):
        values = [(0, 300 + 5 * (at // 3))] if at % 3 == 0 else []
        values += [(1, int(at % 50 < 40))] if at % 10 == 0 else []
        values += [(2, 4200)] if at == 0 else []
        values += [(3, 20 * at)] if at % 7 == 0 else []
        east, north = rng.uniform(121.0, 121.1), rng.uniform(-33.6, -33.5)
        rows.append(Record(ms=7000 + 1000 * at, latitude=north, longitude=east, values=values, status=at % 6))
    data = TaskData({"TLG00001": packed(rows), "TLG00002": packed(rows)[:-3]})
    theirs = run_script(folder / "logs.js", data.zipped(folder / "log.zip"))
    assert theirs["warnings"] == []
    files = data.files()
    for name, other in zip(data.logs, theirs["logs"], strict=True):
        mine = read_time_log(files[f"{name}.xml"], files[f"{name}.bin"], name)
        assert bool(other["errors"]) == (mine.damage is not None)
        assert len(other["records"]) == len(mine.time_ms) == (400 if name == "TLG00001" else 399)
        epoch = 315_532_800_000  # 1980-01-01 in ms since 1970
        assert [one["time"] - epoch for one in other["records"]] == mine.time_ms.tolist()
        assert [one["place"]["PositionNorth"] for one in other["records"]] == pytest.approx(mine.latitude, abs=1e-9)
        assert [one["place"]["PositionEast"] for one in other["records"]] == pytest.approx(mine.longitude, abs=1e-9)
        assert [int(one["place"]["PositionStatus"]) for one in other["records"]] == [
            at % 6 for at in range(len(mine.fix))
        ]
        for column, entry in enumerate(data.entries):
            said = [one["values"].get(f"{entry}_DET-1", np.nan) for one in other["records"]]
            np.testing.assert_array_equal(np.array(said, dtype=float), mine.logged[:, column])
        carried = pd.DataFrame(mine.logged).ffill().iloc[-1]
        assert [other["filled"][-1][f"{entry}_DET-1"] for entry in data.entries] == carried.tolist()
