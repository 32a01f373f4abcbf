"""issue.json repeats byte for byte, says nothing of the machine or the moment, and is read strictly."""

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from published_schema import FILE, broken, validator
from record_made import check, diagnosis, failing, record, session
from sealed_by_hand import sum_by_hand, written

from pipeline.issue.record import (
    RecordError,
    finished,
    is_sealed,
    parse_record,
    read_any_version,
    read_record,
    sealed,
    serialise,
    write_record,
)
from pipeline.issue.record_types import SCHEMA
from pipeline.issue.schema_file import text
from pipeline.words import Reason, Verdict

EARLIER = sorted((Path(__file__).parent / "earlier").glob("schema-*.json"))


def full() -> dict[str, Any]:
    """A record of a second issue in which every list has something."""
    spans = [
        {"from": "2026-03-01T20:00:00.000Z", "until": "2026-03-01T21:00:00.000Z", "readings": 3,
         "source_file": "rover.csv", "source_row": 7, "easting": 1.0, "northing": 2.0, "height": None}
    ]  # fmt: skip
    log = {"positions": spans, "antenna_heights": [], "first_reading": None}
    held = {"kind": "day", "name": "2026-03-02 (UTC)", "rows": 1, "on_marks": 0, "held_back": 1,
            "by_reason": {"untied": 1}}  # fmt: skip
    doubt = {"kind": "units", "what": "feet", "sessions": ["one"], "confirmed": False, "origin": None}
    made = record(
        issue=2,
        changes={"since": 1, "because": ["CM1 moved"], "moved": 3, "max_horizontal": None, "altered": [
            {"file": "made-up-001.gpkg", "what": "the file is gone"}
        ]},
        rows={"read": 14, "points": 10, "on_marks": 3, "held_back": 1, "by_reason": {"untied": 1}},
        sessions=[session("one", base_log=log)],
        checks=[check("one", "CM1", 20, passed=None, point=None), failing("one", "CM2", 30)],
        diagnoses=[diagnosis("one", ["CM2-30"])],
        doubts=[doubt],
        wholly_held_back=[held],
        untied=[{"sessions": ["one"], "marks": [], "lacks": ["position", "height"]}],
        shift_model={"model": "grid", "farthest": [
            {"session": "one", "point": "P", "horizontal": 0.01, "vertical": -0.0}
        ]},
        identity={"the job file": "ab" * 32},
        reach={"sessions": {"one": "ab" * 32}, "files": {}},
    )  # fmt: skip
    return dict(sealed(made))  # type: ignore[arg-type]


# Written


def test_values_are_plain_and_rounded() -> None:
    """0.1 + 0.2 is 0.3, NaN is null, words are text, degrees keep more decimals than metres."""
    moved = session("one", shift_x=0.1 + 0.2, sigma_up=float("nan"), shift_up=np.inf, shift_y=-1e-9)
    place = {"longitude": 1 / 3, "height": 1 / 3}
    rows = {"read": 4, "points": np.int64(3), "on_marks": 0, "held_back": 1, "by_reason": {Reason.NOT_FIXED: 1}}
    made = finished(record(sessions=[moved | {"base_log": place}], rows=rows, verdict=Verdict.PROVEN))  # type: ignore[arg-type]
    found: dict[str, Any] = dict(made["sessions"][0])
    assert [found[key] for key in ("shift_x", "sigma_up", "shift_up", "shift_y")] == [0.3, None, None, 0.0]
    assert str(found["shift_y"]) == "0.0"
    assert found["base_log"] == {"longitude": 0.333333333333, "height": 0.333333}
    assert json.loads(serialise(made))["rows"]["by_reason"] == {"not_fixed": 1}
    assert type(made["verdict"]) is str and type(made["rows"]["points"]) is int


def test_the_file_repeats_and_reads_back(tmp_path: Path) -> None:
    """UTF-8, sorted keys, one line feed at the end; the order in which the keys came does not show."""
    made = write_record(tmp_path, finished(record(caution="No substitute – ä.")))  # type: ignore[arg-type]
    path = tmp_path / "issue.json"
    content = path.read_bytes()
    assert content == written(made)
    assert made["sum"] == sum_by_hand(made)
    assert content == serialise(dict(reversed(made.items())))
    assert content.endswith(b"}\n") and b"\r" not in content
    assert "– ä" in content.decode("utf-8")
    assert list(json.loads(content)) == sorted(json.loads(content))
    assert read_record(path) == made


def test_a_record_is_written_once(tmp_path: Path) -> None:
    """An issue is never changed afterwards."""
    made = write_record(tmp_path, record())  # type: ignore[arg-type]
    with pytest.raises(FileExistsError):
        write_record(tmp_path, made)


@pytest.mark.parametrize(
    ("one", "other"),
    [(b'"issue": 1', b'"issue": 2'), (b"made-up", b"made-us"), (b'"caution"', b'"cautiou"'), (b"\n", b"\n ")],
)
def test_every_change_of_what_is_said_shows(one: bytes, other: bytes, tmp_path: Path) -> None:
    """A number, a word, a key; a blank more says nothing else. Nor does it matter whether the bytes are at hand."""
    made = write_record(tmp_path, record())  # type: ignore[arg-type]
    written = (tmp_path / "issue.json").read_bytes()
    assert is_sealed(made, written) and is_sealed(made, b"")
    assert one in written
    changed = written.replace(one, other, 1)
    assert is_sealed(json.loads(changed), changed) == (one == b"\n")
    assert not is_sealed(made | {"sum": "0" * 64}, written)


@pytest.mark.parametrize(
    ("other", "error"),
    [
        (dict(inputs=[dict(path="/home/someone/a.csv")]), ValueError),
        (dict(inputs=[dict(path="C:\\jobs\\a.csv")]), ValueError),
        (dict(target=dict(grid=Path("grid.gtx"))), TypeError),
        (dict(rows=dict(read=10, points=7, on_marks=2, held_back=0, by_reason={})), ValueError),
        (dict(adjustment=dict(covariance={1, 2})), TypeError),
    ],
)
def test_what_does_not_belong_is_refused(other: dict[str, Any], error: type[Exception]) -> None:
    """A machine's path, rows that do not add up, a value without a form in JSON."""
    with pytest.raises(error):
        finished(record(**other))


# Published


def test_the_published_schema_is_that_of_the_types() -> None:
    """Else: python -m pipeline.issue.schema_file."""
    assert FILE.read_text(encoding="utf-8") == text()


def test_every_key_of_the_published_schema_says_what_it_means() -> None:
    schema = validator().schema
    for part in (schema, *schema["$defs"].values()):
        assert part["description"] and part["additionalProperties"] is False, part["title"]
        for key, form in every(part["properties"].items()):
            assert form.get("description"), f"{part['title']}.{key}"


def test_lengths_and_times_say_their_units() -> None:
    """Every number is a length, or says that it is none."""
    plain = {
        "redundancy_", "standardised_", "variance_factor", "square_sum", "critical_value", "low", "high", "chi_square",
        "score", "scale", "slope_", "degrees_of_freedom",
    }  # fmt: skip
    for part in every(validator().schema["$defs"].values()):
        for key, form in part["properties"].items():
            kinds = [one.get("type") for one in (form, *form.get("anyOf", []))]
            if "number" in kinds and not key.startswith(tuple(plain)):
                units = ("[m]", "[deg]", "[target.axes]")
                assert any(unit in form["description"] for unit in units) or key == "epoch", key
            if any("pattern" in one and "T" in one["pattern"] for one in (form, *form.get("anyOf", []))):
                assert "[UTC]" in form["description"], key


def test_made_up_records_are_in_the_published_form() -> None:
    assert not broken(sealed(record()))  # type: ignore[arg-type]
    assert not broken(full())


# Read


@pytest.mark.parametrize("path", EARLIER, ids=lambda path: path.stem)
def test_every_earlier_record_is_read(path: Path) -> None:
    """Records that earlier versions wrote, most of the demo; what they did not note is empty."""
    before, found = read_any_version(path), read_record(path)
    assert found["schema"] == SCHEMA and not broken(found)
    for key, value in every(before.items()):
        if key not in (
            "schema", "sum", "sessions", "doubts", "diagnoses", "marks", "operations", "identity", "target", "changes",
        ):  # fmt: skip
            assert found[key] == value, key  # type: ignore[literal-required]
    assert found["changes"] == (before["changes"] and {"altered": []} | before["changes"])
    axes = found["target"]["axes"]  # before there were others, all were in metres
    assert before["target"] | {"axes": axes, "site": None} == found["target"]
    sides = {"easting": "east", "northing": "north", "height": "up"}
    found_axes = {name: (one["metres"], one["direction"]) for name, one in axes.items()}
    assert found_axes == {name: (1, side) for name, side in sides.items()}
    for old, new in every(zip(before["sessions"], found["sessions"], strict=True)):
        assert new == {
                "base_log": None, "setup": None, "first_point": None, "last_point": None, "stretches": [],
            } | old  # fmt: skip
    assert [one["mark"] for one in before["marks"]] == [one["mark"] for one in found["marks"]]
    assert "constrained" in {one["status"] for one in found["marks"]} <= {"constrained", "adjusted"}
    steps = ["field datum to computation", "register to computation", "computation to grid"]
    assert sorted(one["step"] for one in found["operations"]) == sorted(steps)
    assert {f"the operation {step}" for step in steps} < set(found["identity"])
    assert sorted(before["identity"].values()) == sorted(found["identity"].values())
    for old, new in zip(before.get("diagnoses", []), found["diagnoses"], strict=True):
        causes = old["readings" if before["schema"] == 1 else "explanations"]
        assert [one["text"] for one in causes] == [one["text"] for one in new["explanations"]]
    for old, new in zip(before.get("doubts", []), found["doubts"], strict=True):
        assert old == {key: value for key, value in new.items() if key != "origin"} and new["origin"] is not None
    for key in ("doubts", "wholly_held_back", "diagnoses", "register"):
        assert key in before or found[key] == []  # type: ignore[literal-required]
    assert "sum" not in before or before["sum"] == sum_by_hand(before)


def test_there_is_a_record_of_every_earlier_schema() -> None:
    assert {read_any_version(path)["schema"] for path in EARLIER} == set(range(1, SCHEMA))


def test_a_record_of_a_later_schema_says_so(tmp_path: Path) -> None:
    path = tmp_path / "issue.json"
    path.write_text(json.dumps({"schema": 99}))
    with pytest.raises(
        RecordError, match=r"issue\.json has schema version 99; this version of tiedown reads up to"
    ) as found:
        read_record(path)
    assert "later version" in found.value.fix


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "null", '{"schema": "1"}', '{"schema": true}', '{"schema": 0}', "\ufeff{}"]
)
def test_what_is_no_record_is_said_so(tmp_path: Path, text: str) -> None:
    """Cut off, another file: a RecordError that names the file."""
    path = tmp_path / "issue.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RecordError, match=r"issue\.json") as found:
        read_record(path)
    assert "tiedown verify" in found.value.fix


WHOLE = json.dumps(full())


@pytest.mark.parametrize(
    "text",
    [
        WHOLE.replace('"caution": "', '"caution": "\\ud800'),
        WHOLE.replace('"caution": "', '"\\udfff": 1, "caution": "'),
        WHOLE.replace('"accuracy": null', '"accuracy": ' + "[" * 100_000 + "]" * 100_000),
        WHOLE.replace('"accuracy": null', '"accuracy": ' + "[" * 300 + "]" * 300),
        WHOLE.replace('"job":', '"job": "other", "job":'),
        WHOLE.replace('"grid_name":', '"grid_name": "other", "grid_name":'),
        WHOLE.replace('"issue": 2', '"issue": ' + "1" * 5_000),
    ],
    ids=lambda _: "record",
)
def test_what_is_no_sound_json_is_refused(tmp_path: Path, text: str) -> None:
    """Half characters, depth, keys twice."""
    assert text != WHOLE
    path = tmp_path / "issue.json"
    path.write_text(text)
    with pytest.raises(RecordError, match=r"issue\.json"):
        read_record(path)


@pytest.mark.parametrize("number", ["NaN", "-Infinity", "1e999"])
def test_a_number_that_json_has_not_is_refused_by_its_key(number: str, tmp_path: Path) -> None:
    path = tmp_path / "issue.json"
    path.write_text(WHOLE.replace('"accuracy": null', f'"accuracy": {number}'))
    with pytest.raises(RecordError, match=r"operations\[0\]\.accuracy is -?(nan|inf) and should be a finite number"):
        read_record(path)


def put(*way: str | int, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(made: dict[str, Any]) -> None:
        part: Any = made
        for key in way[:-1]:
            part = part[key]
        part[way[-1]] = value

    return change


def take(*way: str | int) -> Callable[[dict[str, Any]], None]:
    def change(made: dict[str, Any]) -> None:
        part: Any = made
        for key in way[:-1]:
            part = part[key]
        del part[way[-1]]

    return change


SPOILT = [
    (take("sum"), "sum is missing"),
    (take("doubts"), "doubts is missing"),
    (take("rows", "points"), "rows.points is missing"),
    (take("sessions", 0, "shift_up"), "sessions[0].shift_up is missing"),
    (take("sessions", 0, "stretches", 1, "from"), "sessions[0].stretches[1].from is missing"),
    (take("register", 0, "sigma vertical"), "register[0].sigma vertical is missing"),
    (put("verdcit", value="proven"), "verdcit is no key"),
    (put("target", "zone", value=1), "target.zone is no key"),
    (put("diagnoses", 0, "explanations", 1, "up", value=1.0), "diagnoses[0].explanations[1].up is no key"),
    (put("rows", "points", value="7"), "rows.points is '7' and should be a valid integer"),
    (put("rows", "points", value=True), "rows.points is True"),
    (put("rows", "points", value=-1), "rows.points is -1"),
    (put("rows", "points", value=None), "rows.points is None"),
    (put("rows", "by_reason", value=[]), "rows.by_reason is []"),
    (put("rows", "by_reason", "lost", value=1), "rows.by_reason.lost"),
    (put("checks", 0, "d_east", value="0.004"), "checks[0].d_east is '0.004'"),
    (put("checks", 0, "passed", value=0), "checks[0].passed is 0"),
    (put("checks", 0, "role", value="tied"), "checks[0].role is 'tied'"),
    (put("checks", 0, "observed", value="2026-03-02 10:00"), "checks[0].observed is '2026-03-02 10:00'"),
    (put("sessions", value=None), "sessions is None"),
    (put("checks", value=[1]), "checks[0] is 1"),
    (put("issue", value=1.5), "issue is 1.5"),
    (put("issue", value=0), "issue is 0"),
    (put("verdict", value="good"), "verdict is 'good'"),
    (put("job", value="../elsewhere"), "job is '../elsewhere'"),
    (put("files", 0, "name", value="../001/other.gpkg"), "files[0].name is '../001/other.gpkg'"),
    (put("files", 0, "name", value=".."), "files[0].name is '..'"),
    (put("files", 0, "sha256", value="cd"), "files[0].sha256 is 'cd'"),
    (put("changes", value=[]), "changes is []"),
    (put("changes", "because", value=[1]), "changes.because[0] is 1"),
    (put("doubts", 0, "kind", value="weather"), "doubts[0].kind is 'weather'"),
]  # fmt: skip


@pytest.mark.parametrize(("spoil", "words"), SPOILT, ids=[words for _, words in SPOILT])
def test_a_record_in_another_form_is_refused_by_its_key(
    spoil: Callable[[dict[str, Any]], None], words: str, tmp_path: Path
) -> None:
    """With the file and the key; the published schema refuses the same."""
    made = copy.deepcopy(full())
    spoil(made)
    path = tmp_path / "issue.json"
    path.write_text(json.dumps(made))
    with pytest.raises(RecordError) as found:
        read_record(path)
    assert str(found.value).startswith(str(path)) and words in str(found.value)
    assert broken(made)


def test_the_first_of_many_wrong_keys_are_said() -> None:
    made = full()
    for key in ("rows", "target", "notes", "marks", "caution"):
        del made[key]
    with pytest.raises(RecordError, match="is missing, and 2 more"):
        parse_record(made, Path("issue.json"))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (put("operations", 0, "accuracy", value=float("nan")), "operations[0].accuracy is nan"),
        (put("sessions", value=5), "sessions is 5"),
        (put("sessions", value=[5]), "sessions[0] is 5"),
        (put("diagnoses", value={}), "diagnoses is {}"),
        (put("diagnoses", 0, value=[]), "diagnoses[0] is []"),
        (put("diagnoses", 0, "explanations", value=None), "diagnoses[0].explanations is None"),
        (put("extra", value=1), "extra is no key"),
        (take("rows"), "rows is missing"),
        (take("checks", 0, "mark"), "checks[0].mark is missing"),
    ],
)
def test_an_earlier_record_in_another_form_is_refused_too(spoil: Callable[[dict[str, Any]], None], words: str) -> None:
    """What an earlier schema lacks is filled in, and nothing else is forgiven."""
    made = full() | {"schema": 1}
    spoil(made)
    with pytest.raises(RecordError) as found:
        parse_record(made, Path("issue.json"))
    assert words in str(found.value)
