"""Sessions become half-open windows in time, from the job file or from a CSV; overlaps and mistakes have their line."""

import pickle
from datetime import UTC, datetime
from pathlib import Path

import pytest
from least_job import YARD

from pipeline.job.load import LoadedJob, load_job
from pipeline.job.model import FieldShift, GivenShift, Occupation, Setup
from pipeline.problems import Problem, Problems
from pipeline.sessions.windows import SessionWindow, load_sessions

LINES = YARD.count("\n")
FROM_FILE = YARD + '[sessions]\nfile = "sessions.csv"\n'


def _loaded(folder: Path, text: str, table: str | bytes | None = None) -> LoadedJob:
    (folder / "control.csv").write_text("")
    if table is not None:
        (folder / "sessions.csv").write_bytes(table.encode() if isinstance(table, str) else table)
    (folder / "job.toml").write_text(text)
    problems = Problems()
    loaded = load_job(folder / "job.toml", problems)
    assert problems.found == []
    assert loaded is not None
    return loaded


def _windows(folder: Path, text: str, table: str | bytes | None = None) -> tuple[SessionWindow, ...]:
    problems = Problems()
    windows = load_sessions(_loaded(folder, text, table), problems)
    assert problems.found == []
    return windows


def _found(folder: Path, text: str, table: str | bytes | None = None) -> list[Problem]:
    problems = Problems()
    load_sessions(_loaded(folder, text, table), problems)
    return problems.found


def _block(name: str, start: str, end: str, *more: str) -> str:
    return "\n".join(
        ["[[session]]", f'name = "{name}"', f"start = 2026-03-02T{start}", f"end = 2026-03-02T{end}", *more, ""]
    )


def test_blocks_become_windows(tmp_path: Path) -> None:
    """Sorted by start and then name, in milliseconds UTC, each tie and check with its line."""
    text = (
        YARD
        + _block("late", "12:00:00+13:00", "14:00:00+13:00", 'ties = [\n{point="A", mark="K"},\n{point="B", mark="K"}]')
        + _block("b", "07:30:00.0004Z", "08:00:00Z", 'base = " B2 "', 'checks = [{point="C", mark="K"}]')
        + _block("a", "07:30:00.0004Z", "08:00:00Z", 'base = "B1"')
    )
    late, a, b = _windows(tmp_path, text)
    assert [(window.session.name, window.index) for window in (late, a, b)] == [("late", 0), ("a", 1), ("b", 2)]
    # 2026-03-01T23:00:00Z by the calendar: 56 years of 365 days, 14 leap days since 1970, January, February
    days = 56 * 365 + 14 + 31 + 28
    assert late.start_ms == (days * 24 + 23) * 3_600_000
    assert late.end_ms == late.start_ms + 2 * 3_600_000
    assert a.start_ms == ((days + 1) * 24 * 60 + 450) * 60_000 + 1  # the first whole millisecond that is inside
    assert (late.base, a.base, b.base) == (None, "B1", "B2")
    job = str(tmp_path / "job.toml")
    assert late.where == (job, LINES + 1)
    assert [late.where_tie(0), late.where_tie(1)] == [(job, LINES + 6), (job, LINES + 7)]
    assert b.where_check(0) == (job, LINES + 8 + 5)


TABLE = """\
name,start,end,base,ties,checks,shift,shift_east,shift_north,shift_up,shift_sigma_horizontal,shift_sigma_vertical,\
setup_mark,setup_longitude,setup_latitude,setup_ellipsoid_height,setup_antenna_height,\
field_shift_from,field_shift_east,field_shift_north,field_shift_up,field_shift_model
one,2026-03-02T07:30:00+13:00,2026-03-02T16:45:00+13:00,BASE-A,K2-AM=K2; K2-PM = K2,K3-AM=K3,derive,,,,,,\
TM1,174.5,-36.25,51.5,1.5,2026-03-02T08:10:00+13:00,0.5,-0.25,1,grid

two,2026-03-03T07:30:00Z,2026-03-03T08:30:00Z,,,,,0.5,-0.25,-3,0.01,0.02,,,,,,,,,,
three,2026-03-04T07:30:00Z,2026-03-04T08:30:00Z,,,,none,,,,,,,,,,,,,,,
"""


def test_a_table_of_sessions(tmp_path: Path) -> None:
    """Every key of a [[session]] block is a column."""
    one, two, three = _windows(tmp_path, FROM_FILE, TABLE)
    assert one.session.ties == (Occupation(point="K2-AM", mark="K2"), Occupation(point="K2-PM", mark="K2"))
    assert one.session.checks == (Occupation(point="K3-AM", mark="K3"),)
    assert one.session.setup == Setup(
        mark="TM1", longitude=174.5, latitude=-36.25, ellipsoid_height=51.5, antenna_height=1.5
    )
    assert one.session.field_shift == FieldShift.model_validate(
        {"from": datetime(2026, 3, 1, 19, 10, tzinfo=UTC), "east": 0.5, "north": -0.25, "up": 1, "model": "grid"}
    )
    assert (one.base, two.base) == ("BASE-A", None)
    assert two.session.shift == GivenShift(east=0.5, north=-0.25, up=-3, sigma_horizontal=0.01, sigma_vertical=0.02)
    assert (one.session.shift, three.session.shift) == ("derive", "none")
    assert two.session.ties == ()
    table = str(tmp_path / "sessions.csv")
    assert [window.where for window in (one, two, three)] == [(table, 2), (table, 4), (table, 5)]
    assert one.where_tie(1) == (table, 2)
    assert pickle.loads(pickle.dumps(one)) == one


def test_a_table_states_a_field_shift_by_its_tie(tmp_path: Path) -> None:
    keys = ("until", "tie", "mark", "easting", "northing", "height", "base", "files")
    table = (
        f"name,start,end,field_shift_from,{','.join(f'field_shift_{key}' for key in keys)}\n"
        f"a,{START},{END},{START},{END},K2-AM,K2,1.5,2.5,3.5,B,one.csv; two*.csv\n"
    )
    (one,) = _windows(tmp_path, FROM_FILE, table)
    (stated,) = one.session.field_shifts
    assert (stated.tie, stated.mark, stated.typed, stated.base) == ("K2-AM", "K2", (1.5, 2.5, 3.5), "B")
    assert stated.files == ("one.csv", "two*.csv") and stated.until == one.session.end
    assert one.where_field_shift(0) == (str(tmp_path / "sessions.csv"), 2)


@pytest.mark.parametrize(
    "table",
    [
        "\ufeff" + TABLE,
        TABLE.replace("\n", "\r\n"),
        TABLE.replace("; K2-PM", "| K2-PM").replace(",", ";"),
        TABLE.replace("K2-AM=K2; K2-PM = K2", '"K2-AM=K2; K2-PM = K2"').replace(",", ";").replace(".", ","),
        TABLE.replace("name,start", "Name, START"),
        TABLE.replace("K2-AM=K2", ";K2-AM=K2;"),
    ],
)
def test_layouts_that_say_the_same(tmp_path: Path, table: str) -> None:
    """Byte order mark, line ends, delimiters, decimal comma, case."""
    plain = [window.session for window in _windows(tmp_path, FROM_FILE, TABLE)]
    assert [window.session for window in _windows(tmp_path, FROM_FILE, table)] == plain


def test_a_table_and_blocks_agree(tmp_path: Path) -> None:
    """The same session, written in either way, is the same."""
    block = YARD + _block("one", "07:30:00Z", "08:30:00Z", 'ties = [{point="A", mark="K"}]', "shift = 'none'")
    table = "name,start,end,ties,shift\none,2026-03-02T07:30:00Z,2026-03-02T08:30:00Z,A=K,none\n"
    (one,), (other,) = _windows(tmp_path, block), _windows(tmp_path, FROM_FILE, table)
    assert one.session == other.session


START, END = "2026-03-02T07:30:00Z", "2026-03-02T08:30:00Z"
#: table, lines of the problems, pieces of the first one's text
WRONG: dict[str, tuple[str, list[int], list[str]]] = {
    "unknown column": (f"name,start,end,tyes\na,{START},{END},\n", [1], ["'tyes'", "'ties'"]),
    "noted": (f"name,start,end,noted\na,{START},{END},\n", [1], ["cannot hold noted checks"]),
    "missing column": (f"name,begin,end\na,{START},{END}\n", [1], ["'start' is missing", "begin"]),
    "empty name": (f"name,start,end\n,{START},{END}\n", [2], ["the column 'name' is empty"]),
    "empty end": (f"name,start,end\na,{START},\n", [2], ["the column 'end' is empty"]),
    "time in words": (f"name,start,end\na,2 March 2026,{END}\n", [2], ["'start' holds '2 March 2026'"]),
    "time without offset": (f"name,start,end\na,2026-03-02T07:30:00,{END}\n", [2], ["'start'", "offset from UTC"]),
    "end before start": (f"name,start,end\na,{END},{START}\n", [2], ["session 'a' ends", "not after its start"]),
    "same name": (
        f"name,start,end\na,{START},{END}\na,2026-03-03T00:00:00Z,2026-03-03T01:00:00Z\n",
        [3],
        ["a session 'a' already", "sessions.csv:2"],
    ),
    "ties": (f"name,start,end,ties\na,{START},{END},=A\n", [2], ["'ties' holds '=A'", "point=mark; point=mark"]),
    "a column that says something": (f"name,start,end,antenna (m)\na,{START},{END},1.5\n", [1], ["'antenna (m)'"]),
    "ties half": (f"name,start,end,ties\na,{START},{END},A=K;B=\n", [2], ["point=mark; point=mark"]),
    "ties too long": (f"name,start,end,ties\na,{START},{END},A=B=C\n", [2], ["point=mark; point=mark"]),
    "tie and check": (f"name,start,end,ties,checks\na,{START},{END},A=K,A=K\n", [2], ["point 'A' is listed twice"]),
    "number": (f"name,start,end,shift_east,shift_north,shift_up\na,{START},{END},1m,2,nan\n", [2, 2], ["'1m'"]),
    "half a shift": (f"name,start,end,shift_east\na,{START},{END},1\n", [2, 2], ["'shift_north' is empty"]),
    "two shifts": (f"name,start,end,shift,shift_east\na,{START},{END},none,1\n", [2], ["'shift' has 'none'"]),
    "shift word": (f"name,start,end,shift\na,{START},{END},nome\n", [2], ["'shift'", "did you mean 'none'"]),
    "covariances of a setup alone": (
        "name,start,end,setup_mark,setup_longitude,setup_latitude,setup_ellipsoid_height,setup_sigma_east,setup_cov_en\n"
        f"a,{START},{END},T,1,9,1,0.01,0.00005\n",
        [2],
        ["the set-up of session 'a' has covariances"],
    ),
    "half a setup": (
        f"name,start,end,setup_mark,setup_longitude,setup_latitude\na,{START},{END},T,1,91\n",
        [2, 2],
        ["'setup_latitude' must be at most 90"],
    ),
    "model": (
        "name,start,end,field_shift_from,field_shift_east,field_shift_north,field_shift_up,field_shift_model\n"
        f"a,{START},{END},{START},1,1,1,plane\n",
        [2],
        ["'field_shift_model' must be one of geocentric, grid"],
    ),
    "several": (f"name,start,end\na,x,{END}\nb,{START},y\n,{START},{END}\n", [2, 3, 4], []),
    "no rows": ("name,start,end\n", [1], ["no session in this table"]),
    "too many cells": (f"name,start,end\na,{START},{END},x\n", [2], ["4 cells; the header has 3"]),
    "empty": ("", [1], ["empty"]),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_with_a_table(tmp_path: Path, name: str) -> None:
    """Each mistake on its line of the table."""
    table, lines, pieces = WRONG[name]
    found = _found(tmp_path, FROM_FILE, table)
    file = str(tmp_path / "sessions.csv")
    assert [(problem.file, problem.line) for problem in found] == [(file, line) for line in lines], found
    for piece in pieces:
        assert piece in str(found[0])


def test_a_table_that_is_not_utf_8(tmp_path: Path) -> None:
    """With the line where it goes wrong."""
    found = _found(tmp_path, FROM_FILE, f"name,start,end\ncaf\xe9,{START},{END}\n".encode("latin-1"))
    assert [(problem.line, problem.what) for problem in found] == [(2, "this is not UTF-8 text")]


def test_a_table_without_control(tmp_path: Path) -> None:
    """A shift to be derived needs a register, as in the job file."""
    text = FROM_FILE.replace('[control]\nfile = "control.csv"\ncrs = "EPSG:2193"\n', "")
    found = _found(tmp_path, text, f"name,start,end\na,{START},{END}\n")
    assert [problem.line for problem in found] == [2]
    assert "no [control] to derive it from" in found[0].what


def _pair(first: str, second: str, start: str = "08:00:00Z", end: str = "09:00:00Z") -> str:
    bases = [f'base = "{base}"' if base else "" for base in (first, second)]
    return YARD + _block("x", "07:00:00Z", "08:30:00Z", bases[0]) + _block("y", start, end, bases[1])


@pytest.mark.parametrize(
    ("first", "second", "piece"),
    [
        ("", "", "neither states its base"),
        ("B1", "", "one does not state its base"),
        ("", "B1", "one does not state its base"),
        ("B1", "B1", "both have the base 'B1'"),
        ("B1", " b1 ", "both have the base 'b1'"),
    ],
)
def test_an_overlap_is_a_problem(tmp_path: Path, first: str, second: str, piece: str) -> None:
    """Unless the base ids part the two; the message names both, their lines and the overlap."""
    (problem,) = _found(tmp_path, _pair(first, second))
    assert problem.line == LINES + 6
    job = tmp_path / "job.toml"
    assert f"session 'y' overlaps session 'x' ({job}:{LINES + 1})" in problem.what
    assert "from 2026-03-02T08:00:00+00:00 to 2026-03-02T08:30:00+00:00" in problem.what
    assert piece in problem.what


def test_sessions_that_do_not_collide(tmp_path: Path) -> None:
    """Two bases at once; and one session that begins in the instant in which the other ends."""
    assert _found(tmp_path, _pair("B1", "B2")) == []
    assert _found(tmp_path, _pair("", "", start="08:30:00Z")) == []
    assert len(_found(tmp_path, _pair("", "", start="08:29:59.999Z"))) == 1


def test_every_pair_that_overlaps_is_told(tmp_path: Path) -> None:
    """A long session over several short ones, one of which stands at another base."""
    text = YARD + _block("all", "06:00:00Z", "12:00:00Z", 'base = "A"')
    for name, hour, base in (("p", "07", "A"), ("q", "08", "B"), ("r", "09", "A"), ("s", "12", "A")):
        text += _block(name, f"{hour}:00:00Z", f"{hour}:30:00Z", f'base = "{base}"')
    found = _found(tmp_path, text)
    assert ["session 'p' overlaps session 'all'" in found[0].what, "session 'r' overlaps" in found[1].what] == [
        True,
        True,
    ]
    assert len(found) == 2


def test_times_on_the_clock_of_the_job(tmp_path: Path) -> None:
    """In New Zealand clocks go back on 5 April 2026 at 03:00 (its time zone database), so that 4 h lie between."""
    here = 'crs = "EPSG:4959"\ntime_zone = "Pacific/Auckland"'
    text = YARD.replace('crs = "EPSG:4959"', here)
    block = '[[session]]\nname = "one"\nstart = 2026-04-05T01:00:00\nend = 2026-04-05T04:00:00\n'
    table = "name,start,end\none,2026-04-05 01:00,2026-04-05T04:00:00\n"
    for windows in (
        _windows(tmp_path, text + block),
        _windows(tmp_path, text + '[sessions]\nfile = "sessions.csv"\n', table),
    ):
        (one,) = windows
        assert one.session.start == datetime(2026, 4, 4, 12, tzinfo=UTC)
        assert one.end_ms - one.start_ms == 4 * 3_600_000


@pytest.mark.parametrize(
    ("start", "zone", "says"),
    [
        ("2026-04-05T02:30:00", "Pacific/Auckland", "comes twice in Pacific/Auckland"),
        ("2026-09-27T02:30:00", "Pacific/Auckland", "does not exist in Pacific/Auckland"),
        ("2026-03-02", "Pacific/Auckland", "is not a time such as"),
        ("2026-03-02T07:30:00", "", "unless time_zone in [source] states its clock"),
    ],
)
def test_times_that_no_clock_makes_certain(tmp_path: Path, start: str, zone: str, says: str) -> None:
    stated = f'\ntime_zone = "{zone}"' if zone else ""
    text = FROM_FILE.replace('crs = "EPSG:4959"', 'crs = "EPSG:4959"' + stated)
    found = _found(tmp_path, text, f"name,start,end\none,{start},2026-10-01T00:00:00Z\n")
    assert [(problem.file, problem.line) for problem in found] == [(str(tmp_path / "sessions.csv"), 2)]
    assert says in str(found[0])
