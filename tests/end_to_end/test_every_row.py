"""Whole jobs with dirty exports: every row comes out once, with the contract's reason and its row in the file."""

import datetime as dt
import shutil
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from issued import Issue, current_issue
from numpy.testing import assert_allclose
from running import append_rows, run_simulated, run_written
from simulate import Plan, Simulation, simulate

from pipeline import run_job

#: The contract's list.
REASONS = {
    "unreadable", "no_position", "no_time", "ambiguous_time", "outside_sessions", "two_sessions", "untied", "not_fixed",
    "poor_quality", "implausible", "outside_coverage", "suspect", "unclosed", "unchecked", "duplicate",
}  # fmt: skip


def adds_up(issue: Issue, rows: int) -> None:
    """Rows in = points + occupations on marks + held back, in the layers and in the record, and by reason."""
    points, on_marks, held = issue.balance()
    assert points + on_marks + held == rows
    counted = Counter(issue.held_back.column("reason"))
    assert set(counted) <= REASONS
    assert issue.record["rows"] == {
        "read": rows, "points": points, "on_marks": on_marks, "held_back": held, "by_reason": dict(counted),
    }  # fmt: skip
    assert sum(entry["rows"] for entry in issue.record["inputs"] if entry["path"] != "register.csv") == rows
    sources = [(row["source_file"], row["source_row"]) for row in issue.points.rows + issue.held_back.rows]
    assert len(sources) == len(set(sources))
    assert sum(row["points"] for row in issue.sessions.rows) == points


# The same job in every format


@pytest.fixture(scope="module")
def in_every_format(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Issue]:
    plan = Plan(sessions=2, points=30, ties=2, checks=3, overlap=True, temporary=True, tied_sessions=1, reach=8_000.0)
    issues = {}
    for form in ("csv", "geojson", "gpkg"):
        job = simulate(plan)
        job.knock_base(1, 0.7, east=0.3)
        job.rows["solution"][10:13] = "float"
        job.rows["base"][20] = ""
        job.rows["sigma_east"][25] = 0.09
        for name, digits in (("longitude", 11), ("latitude", 11), ("height", 5)):
            job.rows[name] = np.round(job.rows[name], digits)  # as printed: a GeoPackage would keep more
        job.keep(np.r_[np.arange(40), 30, np.arange(40, len(job.rows["name"]))])
        issues[form] = run_simulated(job, tmp_path_factory.mktemp(form), form, code=3)
    return issues


@pytest.mark.parametrize("form", ["geojson", "gpkg"])
def test_every_format_gives_the_same_coordinates_and_counts(form: str, in_every_format: dict[str, Issue]) -> None:
    one, other = in_every_format["csv"], in_every_format[form]
    assert one.balance() == other.balance()
    assert one.record["rows"] == other.record["rows"]
    assert set(one.reasons().values()) == {"suspect", "not_fixed", "two_sessions", "poor_quality", "duplicate"}
    for layer in ("points", "check_marks", "held_back", "sessions"):
        ours, theirs = getattr(one, layer), getattr(other, layer)
        assert ours.columns == theirs.columns
        for name in ours.columns:
            if name in ("source_file", "source_row", "detail", "cause"):
                continue
            a, b = ours.column(name), theirs.column(name)
            if any(isinstance(value, float) for value in a):
                metres = not name.startswith("standardised")  # these are residuals over millimetres
                assert_allclose(
                    np.array(a, float), np.array(b, float), rtol=0, atol=1e-5 if metres else 1e-3, err_msg=name
                )
            else:
                assert a == b, f"{layer}.{name}"


def test_the_number_of_a_row_is_that_of_its_line_or_feature(in_every_format: dict[str, Issue]) -> None:
    """A line of the CSV counts from 1 with the header; a feature counts from 1, or has its own number."""
    csv_rows = in_every_format["csv"].held_back.column("source_row")
    features = in_every_format["geojson"].held_back.column("source_row")
    assert [line - feature for line, feature in zip(csv_rows, features, strict=True)] == [1] * len(csv_rows)
    assert features == in_every_format["gpkg"].held_back.column("source_row")


# Each reason, provoked


@pytest.fixture(scope="module")
def provoked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Issue, dict[str, tuple[str, int]], int]:
    """One job in which every reason of the contract has a planted row: name -> (reason, line), and the rows in all.

    Daylight saving ends during the sessions (2026-04-04 14:00 UTC in New Zealand). All sessions run at the same hours:
    1 has a closing check that fails; 2 has no closing check; 3 has no check at all; 4 has no tie.
    """
    plan = Plan(sessions=4, points=8, marks=6, overlap=True, start=dt.datetime(2026, 4, 4, 10, 0, tzinfo=dt.UTC))
    job = simulate(plan)
    job.knock_base(0, 0.6, east=0.4)
    sessions = job.job["session"]
    gone = ["S02-C2", "S03-C1", "S03-C2", "S04-C1", "S04-C2", "S04-T4"]
    job.keep(~np.isin(job.rows["name"], gone))
    sessions[1]["checks"].pop()
    sessions[2]["checks"] = sessions[3]["checks"] = sessions[3]["ties"] = []
    job.job["issue"] = {"hold_back": ["suspect", "unclosed", "unchecked"]}
    job.job["source"]["time_zone"] = "Pacific/Auckland"
    job.job["quality"] |= {"max_sigma_vertical": 0.08, "max_distance": 500_000.0}
    folder = tmp_path_factory.mktemp("provoked")
    path = job.write(folder)
    good = {"Base": "BASE-01", "Observed": "2026-04-04T11:00:00Z", "Code": "FENCE", "Sol": "fix", "sE": "0.008"}
    good |= {"Lat": "-43.70", "Lon": "171.85", "EllHt": "320.0", "sN": "0.008", "sU": "0.015"}
    planted: list[tuple[str, dict[str, Any]]] = [
        ("unreadable", {"Lat": "43 S"}),
        ("unreadable", {"EllHt": "#REF!"}),
        ("unreadable", {"Lat": "-93.7"}),
        ("unreadable", {"Observed": "yesterday"}),
        ("unreadable", {"sE": "-0.008"}),
        ("no_position", {"EllHt": ""}),
        ("no_position", {"Lat": "", "Lon": ""}),
        ("no_time", {"Observed": ""}),
        ("ambiguous_time", {"Observed": "2026-04-05T02:30:00"}),
        ("outside_sessions", {"Observed": "2026-04-05T10:00:00Z"}),
        ("outside_sessions", {"Base": "BASE-77"}),
        ("outside_sessions", {"Observed": "2026-04-04T18:00:00Z"}),  # the end does not belong to the session
        ("two_sessions", {"Base": ""}),
        ("not_fixed", {"Sol": "float"}),
        ("not_fixed", {"Sol": ""}),
        ("poor_quality", {"sE": "0.06"}),
        ("poor_quality", {"sU": "0.081"}),
        ("outside_coverage", {"Lat": "-46.9"}),
        ("implausible", {"Lon": "-171.85"}),
        ("implausible", {"EllHt": "-9999"}),
    ]
    rows = [good | change | {"Point": f"X{number:02d}"} for number, (_, change) in enumerate(planted)]
    lines = append_rows(folder / "rover001.csv", rows)
    expected = {row["Point"]: (reason, line) for row, (reason, _), line in zip(rows, planted, lines, strict=True)}
    before = len(job.rows["name"])
    text = (folder / "rover001.csv").read_text().splitlines(keepends=True)
    twice = next(line for line in text if "S02-00003" in line)
    with (folder / "rover001.csv").open("a") as file:
        file.write(twice)
    expected["S02-00003"] = ("duplicate", before + len(rows) + 2)
    return run_written(path, 3), expected, before + len(rows) + 1


def test_every_reason_is_found_where_it_was_planted(
    provoked: tuple[Issue, dict[str, tuple[str, int]], int],
) -> None:
    issue, expected, rows = provoked
    adds_up(issue, rows)
    assert set(issue.held_back.column("reason")) == REASONS
    for name, (reason, line) in every(expected.items()):
        row = issue.held_back.one(source_row=line)
        assert (row["name"], row["reason"]) == (name, reason), row["detail"]
        assert row["source_file"] == "rover001.csv"
        assert row["detail"]
    others = {row["name"]: row["reason"] for row in issue.held_back.rows if row["name"] not in expected}
    by_session = {name[:3]: reason for name, reason in others.items() if name[:3] != "S01"}
    assert by_session == {"S02": "unclosed", "S03": "unchecked", "S04": "untied"}
    assert {reason for name, reason in others.items() if name[:3] == "S01"} == {"suspect"}
    assert issue.points.rows == []
    assert [row["verdict"] for row in issue.sessions.rows] == ["failed", "unclosed", "unchecked", "untied"]


def test_a_row_held_back_says_why_and_has_its_place_where_it_is_known(
    provoked: tuple[Issue, dict[str, tuple[str, int]], int],
) -> None:
    issue, expected, _ = provoked
    details = {name: issue.held_back.one(source_row=line)["detail"] for name, (_, line) in expected.items()}
    for name, word in {"X00": "43 S", "X01": "#REF!", "X08": "2026-04-05T02:30:00", "X10": "BASE-77", "X13": "float",
                       "X15": "0.06", "X17": "egm96_canterbury.gtx"}.items():  # fmt: skip
        assert word in details[name], details[name]
    assert details["X17"].count("egm96_canterbury.gtx") == 1  # the register's heights come through it too
    for row, place in every(zip(issue.held_back.rows, issue.held_back.places, strict=True)):
        known = row["reason"] in ("suspect", "unclosed", "unchecked", "not_fixed", "poor_quality", "duplicate")
        if known:
            assert place == (row["easting"], row["northing"], row["height"]), row
        if row["reason"] in ("untied", "two_sessions", "outside_coverage", "no_position"):
            assert place is None and row["height"] is None, row


@pytest.mark.parametrize("reason", ["unclosed", "unchecked", "suspect"])
def test_what_is_not_asked_to_be_held_back_is_issued_with_its_word(reason: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=10, noise=False))
    if reason == "unclosed":
        job.keep(job.rows["name"] != "S01-C2")
        job.job["session"][0]["checks"].pop()
    elif reason == "unchecked":
        job.keep(job.rows["kind"] != "check")
        job.job["session"][0]["checks"] = []
    else:
        job.knock_base(0, 0.5, east=0.4)
        job.job["issue"] = {"hold_back": []}
    issue = run_simulated(job, tmp_path, code=3 if reason == "suspect" else 0)
    assert issue.points.column("proof") == [reason] * 10
    assert issue.held_back.rows == []


# Whatever is in the file

_PRINTED = st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"], exclude_characters='",\ufeff')
_CELL = st.text(_PRINTED, max_size=12)
_TIMES = st.sampled_from(
    ["2026-03-01T23:00:00Z", "2026-03-09T00:00:00Z", "01/03/2026 11:15", "0000-00-00", "", "12:00"]
)
_NUMBERS = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.sampled_from(["", "1e999", "-43.7", "171.85", "١٢", "0x1F"]),
)
_DIRTY = st.fixed_dictionaries(
    {
        "Point": _CELL,
        "Observed": _TIMES | _CELL,
        "Lat": _NUMBERS | _CELL | st.just("-43.7"),
        "Lon": _NUMBERS | _CELL | st.just("171.85"),
        "EllHt": _NUMBERS | st.just("320"),
        "sE": _NUMBERS,
        "sN": st.just("0.008") | _NUMBERS,
        "sU": st.just("0.015"),
        "Sol": st.sampled_from(["fix", "FIX", "float", ""]) | _CELL,
        "Code": st.sampled_from(["CHK", "chk", "FENCE", "CM", ""]) | _CELL,
        "Base": st.sampled_from(["BASE-01", "base-02 ", "BASE-09", ""]) | _CELL,
    }
)
_LINES = _DIRTY.map(lambda row: ",".join(row.values())) | st.lists(_CELL, max_size=14).map(",".join)


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Simulation, bytes]:
    job = simulate(Plan(sessions=2, points=6, noise=False, overlap=True))
    path = job.write(tmp_path_factory.mktemp("dirty"))
    return path, job, (path.parent / "rover001.csv").read_bytes()


@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines=st.lists(_LINES, min_size=1, max_size=40))
def test_dirty_rows_add_up_and_leave_the_good_ones_alone(
    lines: list[str], clean: tuple[Path, Simulation, bytes]
) -> None:
    """Counted here as lines that are not blank; the clean rows come out as they do without the dirty ones."""
    path, job, before = clean
    export = path.parent / "rover001.csv"
    export.write_bytes(before + "".join(f"{line}\n" for line in lines).encode())
    written = [line for line in export.read_text(encoding="utf-8").split("\n")[1:] if line.strip(" \t")]
    shutil.rmtree(path.parent / "out", ignore_errors=True)
    run_job(path)
    issue = current_issue(path.parent / "out")
    adds_up(issue, len(written))
    count = len(job.rows["name"])
    good = [row for row in issue.points.rows if row["source_row"] <= count + 1]
    held = [row for row in issue.held_back.rows if row["source_row"] <= count + 1]
    # A dirty row may be an occupation that fails, and then the points beside it are suspect.
    assert {row["reason"] for row in held} <= {"suspect"}
    assert len(good) + len(held) == 12
    for row in good:
        assert_allclose([row["easting"], row["northing"], row["height"]], job.truth.of(row["name"]), rtol=0, atol=1e-4)
