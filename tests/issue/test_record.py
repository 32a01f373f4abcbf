"""issue.json repeats byte for byte and says nothing of the machine or the moment."""

import json
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.issue.record import RecordError, build_record, read_record, serialise, write_record
from pipeline.words import Reason, Verdict


def pieces(**other: Any) -> dict[str, Any]:
    """The pieces of a small invented issue."""
    return (
        dict(
            job="solar-farm",
            issue=1,
            data_to=datetime(2026, 3, 2, 16, 45, tzinfo=timezone(timedelta(hours=13))),
            version="0.1.0",
            verdict=Verdict.PROVEN,
            rows=dict(read=10, points=7, on_marks=2, held_back=1, by_reason={Reason.NOT_FIXED: np.int64(1)}),
            sessions=[dict(session="0302-north", shift_x=0.1 + 0.2, sigma_up=float("nan"))],
            checks=[dict(mark="CM3", passed=np.bool_(True), d_east=np.float32(0.25), observed=None)],
            adjustment=dict(variance_factor=1.0000000004, degrees_of_freedom=3),
            operations=[dict(step="A", name="null", accuracy=None, grids=[])],
            inputs=[dict(path="../sample_data/rover/a.csv", sha256="00", rows=10)],
            target=dict(grid="EPSG:2193", height="EPSG:7839", definition="COMPOUNDCRS[...]"),
            caution="No substitute for a licensed surveyor's judgement – ä.",
        )
        | other
    )


def test_the_contracts_keys_are_there() -> None:
    """Every key that the contract names, and the schema's version."""
    contract = "job issue data_to version verdict rows sessions checks adjustment operations inputs changes"
    record = build_record(**pieces())
    assert set(contract.split()) < set(record)
    assert record["schema"] == 1
    assert set(record["rows"]) == {"read", "points", "on_marks", "held_back", "by_reason"}


def test_values_are_plain_rounded_and_in_utc() -> None:
    """0.1 + 0.2 is 0.3, NaN is null, words are text, times are UTC's, degrees keep more decimals than metres."""
    record = build_record(
        **pieces(sessions=[dict(x=0.1 + 0.2, up=float("nan"), inf=np.inf, none=-1e-9, longitude=1 / 3)])
    )
    assert record["data_to"] == "2026-03-02T03:45:00.000Z"
    assert record["verdict"] == "proven"
    assert record["rows"]["by_reason"] == {"not_fixed": 1}
    session = record["sessions"][0]
    assert session == {"x": 0.3, "up": None, "inf": None, "none": 0.0, "longitude": 0.333333333333}
    assert str(session["none"]) == "0.0"
    assert record["checks"][0] == {"mark": "CM3", "passed": True, "d_east": 0.25, "observed": None}


def test_the_file_repeats_and_reads_back(tmp_path: Path) -> None:
    """UTF-8, sorted keys, one line feed at the end; the order in which the pieces came does not show."""
    record = build_record(**pieces())
    path = write_record(tmp_path, record)
    content = path.read_bytes()
    assert content == serialise(build_record(**dict(reversed(pieces().items()))))
    assert content.endswith(b"}\n") and b"\r" not in content
    assert "– ä" in content.decode("utf-8")
    assert list(json.loads(content)) == sorted(json.loads(content))
    assert read_record(path) == record


def test_a_record_is_written_once(tmp_path: Path) -> None:
    """An issue is never changed afterwards."""
    write_record(tmp_path, build_record(**pieces()))
    with pytest.raises(FileExistsError):
        write_record(tmp_path, build_record(**pieces()))


@pytest.mark.parametrize(
    ("other", "error"),
    [
        (dict(inputs=[dict(path="/home/someone/a.csv")]), ValueError),
        (dict(inputs=[dict(path="C:\\jobs\\a.csv")]), ValueError),
        (dict(target=dict(grid=Path("grid.gtx"))), TypeError),
        (dict(data_to=datetime(2026, 3, 2)), ValueError),
        (dict(rows=dict(read=10, points=7, on_marks=2, held_back=0, by_reason={})), ValueError),
        (dict(adjustment=dict(covariance={1, 2})), TypeError),
    ],
)
def test_what_does_not_belong_is_refused(other: dict[str, Any], error: type[Exception]) -> None:
    """A machine's path, a time without its zone, rows that do not add up, a value without a form in JSON."""
    with pytest.raises(error):
        build_record(**pieces(**other))


def test_more_keys_are_kept() -> None:
    """A caller may add keys, a second issue its changes."""
    changes = dict(since=1, moved=2, because=["CM2's register coordinate was revised"])
    record = build_record(**pieces(changes=changes, files=[dict(name="solar-farm-002.gpkg", sha256="00")]))
    assert record["changes"] == changes
    assert record["files"] == [{"name": "solar-farm-002.gpkg", "sha256": "00"}]


#: What the first schema wrote. Never edited: a later version adds another beside it.
FIRST_SCHEMA = """{
  "adjustment": {}, "caution": "", "changes": null, "checks": [], "data_to": "2026-03-02T03:45:00.000Z",
  "inputs": [], "issue": 1, "job": "solar-farm", "operations": [], "rows": {"by_reason": {}, "held_back": 0,
  "on_marks": 0, "points": 0, "read": 0}, "schema": 1, "sessions": [], "target": {}, "verdict": "proven",
  "version": "0.1.0"}
"""


def test_every_earlier_schema_is_read(tmp_path: Path) -> None:
    """A record of the first schema stays readable."""
    (tmp_path / "issue.json").write_text(FIRST_SCHEMA)
    assert read_record(tmp_path / "issue.json")["job"] == "solar-farm"


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"schema": 99}', '{"schema": 1, "job": "x"}', '{"schema": "1"}', "\ufeff{}"],
)
def test_what_is_no_record_is_said_so(tmp_path: Path, text: str) -> None:
    """Cut off, another file, a later schema, keys missing: a RecordError that names the file."""
    path = tmp_path / "issue.json"
    path.write_text(text)
    with pytest.raises(RecordError, match=r"issue\.json"):
        read_record(path)


def spoilt(**other: Any) -> str:
    return json.dumps(json.loads(FIRST_SCHEMA) | other)


ROWS = dict(read=0, points=0, on_marks=0, held_back=0, by_reason={})


@pytest.mark.parametrize(
    "text",
    [
        FIRST_SCHEMA.replace('"target": {}', '"target": {"x": NaN}'),
        FIRST_SCHEMA.replace('"target": {}', '"target": {"x": [-Infinity]}'),
        FIRST_SCHEMA.replace('"target": {}', '"target": {"x": 1e999}'),
        FIRST_SCHEMA.replace('"caution": ""', '"caution": "\\ud800"'),
        FIRST_SCHEMA.replace('"caution": ""', '"caution": "", "\\udfff": 1'),
        FIRST_SCHEMA.replace('"target": {}', '"target": {"x": ' + "[" * 100_000 + "]" * 100_000 + "}"),
        FIRST_SCHEMA.replace('"target": {}', '"target": {"x": ' + "[" * 300 + "]" * 300 + "}"),
        FIRST_SCHEMA.replace('"verdict":', '"verdict": "failed", "verdict":'),
        FIRST_SCHEMA.replace('"target": {}', '"target": {"grid": 1, "grid": 1}'),
        FIRST_SCHEMA.replace('"issue": 1', '"issue": ' + "1" * 5_000),
        *(spoilt(rows=rows) for rows in ({}, [], None, ROWS | dict(points="7"), ROWS | dict(by_reason=[]))),
        *(spoilt(rows={key: 0 for key in ROWS if key != left_out}) for left_out in ROWS),
        *(spoilt(**{key: value}) for key in ("sessions", "checks", "inputs") for value in (None, {}, [1], 5)),
        *(spoilt(files=files) for files in (5, {}, None)),
        *(spoilt(changes=changes) for changes in (5, [], dict(because=None), dict(because=[1]))),
        *(spoilt(issue=issue) for issue in ("1", 1.5, True, None)),
        spoilt(schema=True), spoilt(sum=5), spoilt(identity=[]), spoilt(verdict=None), spoilt(job=[]),
    ],
    ids=lambda _: "record",
)  # fmt: skip
def test_a_record_in_another_form_is_refused(tmp_path: Path, text: str) -> None:
    """Numbers that JSON has not, half characters, depth, keys twice, and values of another kind: one kind of error."""
    path = tmp_path / "issue.json"
    path.write_text(text)
    with pytest.raises(RecordError, match=r"issue\.json"):
        read_record(path)
