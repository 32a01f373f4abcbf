"""A job file loads whole; and whatever is wrong with one is told with its file and line, all of it at once."""

import json
import math
import os
import pickle
from collections.abc import Iterator
from datetime import UTC, date, datetime, time
from itertools import product
from pathlib import Path

import pytest
from least_job import YARD
from packages_made import stored_package
from pydantic import BaseModel, ValidationError

from pipeline.job.annotations import models
from pipeline.job.canonical_text import meaning
from pipeline.job.error_messages import explain
from pipeline.job.load import LoadedJob, load_job
from pipeline.job.model import GivenShift, Job
from pipeline.problems import Problem, Problems
from pipeline.words import Reason

#: Every key that the job file knows, with invented values.
WHOLE = """\
[job]
name   = "wind-park-7"
folder = "../out/wind-park-7"

[target]
grid   = "EPSG:2193"
height = "EPSG:7839"
geoid  = "../grids/local.gtx"
epoch  = 2026.2

[source]
crs       = "EPSG:4959"
time_zone = "Pacific/Auckland"

[[points]]
files   = ["../sample_data/rover/*.csv"]
layer   = "points"
time_format = "%d/%m/%Y %H:%M:%S"
delimiter = ";"
decimal   = ","
encoding  = "cp1252"
angles    = "dms"
units     = "us-survey-foot"
[points.columns]
name = "Point"
time = "Observed"
time_end = "Until"
longitude = "Lon"
latitude = "Lat"
height = "EllHt"
easting = "E"
northing = "N"
sigma_east = "sE"
sigma_north = "sN"
sigma_up = "sU"
code = "Code"
solution = "Sol"
base = "Base"
mark = "Mark"
antenna_height = "Pole"
satellites = "Sats"
pdop = "PDOP"
correction_age = "Age"

[[points]]
files = ["late.csv"]

[quality]
solutions = ["fix", "FIXED"]
max_sigma_horizontal = 0.05
max_sigma_vertical = 0.08
max_pdop = 4
max_correction_age = 5
sigma_horizontal = 0.008
sigma_vertical = 0.015
ppm = 1
centring = 0.003

[control]
file = "../sample_data/control.csv"
crs  = "EPSG:2193"
height = "EPSG:7839"

[[session]]
name  = "0302-north"
start = 2026-03-02T07:30:00+13:00
end   = 2026-03-02T16:45:00+13:00
base  = "BASE-A"
ties   = [{ point = "K2-AM", mark = "K2" }]
checks = [{ point = "K3-AM", mark = "K3" }]
setup  = { mark = "TM1", longitude = 174.1, latitude = -39.2, ellipsoid_height = 51.3, antenna_height = 1.612 }
shift  = "derive"
field_shift = { from = 2026-03-02T08:10:00+13:00, east = 0.4, north = -0.2, up = 1, model = "geocentric" }

[[session]]
name  = "0303-north"
start = 2026-03-03T07:30:00+13:00
end   = 2026-03-03T16:45:00+13:00
shift = "none"

[[session]]
name  = "0304-north"
start = 2026-03-04T07:30:00+13:00
end   = 2026-03-04T16:45:00+13:00
shift = { east = 0.1, north = 0.2, up = -3 }

[shift]
model = "geocentric"
limit_horizontal = 10.0
limit_vertical = 20.0

[checks]
codes  = ["CHK"]
radius = 0.5
horizontal = 0.030
vertical = 0.050

[issue]
hold_back = ["suspect", "unclosed"]
formats   = ["gpkg"]
by_code   = false
"""

#: The least that a job file must say.
LEAST = f"""\
{YARD}[[session]]
name = "one"
start = 2026-03-02T07:30:00+13:00
end = 2026-03-02T16:45:00+13:00
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the files that the job files name."""
    for name in ("configs/control.csv", "sample_data/control.csv", "grids/local.gtx"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("")
    return tmp_path


def _load(folder: Path, text: str) -> tuple[LoadedJob | None, list[Problem]]:
    path = folder / "configs" / "job.toml"
    path.write_text(text, encoding="utf-8")
    problems = Problems()
    return load_job(path, problems), problems.found


def _loaded(folder: Path, text: str) -> LoadedJob:
    loaded, found = _load(folder, text)
    assert found == []
    assert loaded is not None
    return loaded


def _changed(*changes: tuple[str, str]) -> str:
    """LEAST with pieces of it replaced; each must be there."""
    text = LEAST
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return text


def test_every_key_is_accepted(folder: Path) -> None:
    """The whole job file loads, with the values written in it."""
    job = _loaded(folder, WHOLE).job
    assert job.quality.max_pdop == 4.0
    assert job.quality.solutions == ("fix", "FIXED")
    assert job.points[0].columns.correction_age == "Age"
    assert job.session[0].ties[0].mark == "K2"
    assert job.session[0].start == datetime(2026, 3, 1, 18, 30, tzinfo=UTC)
    assert job.session[0].field_shift is not None
    assert job.session[0].field_shift.up == 1.0
    assert job.session[1].shift == "none"
    assert job.session[2].shift == GivenShift(east=0.1, north=0.2, up=-3.0)
    assert job.issue.hold_back == (Reason.SUSPECT, Reason.UNCLOSED)
    assert job.issue.formats == ("gpkg",)


def test_the_least_job_file(folder: Path) -> None:
    """Everything else has a default."""
    job = _loaded(folder, LEAST).job
    assert (job.points[0].crs, job.points[0].time_zone, job.points[0].angles) == ("EPSG:4959", "UTC", "decimal")
    assert job.points[0].units is None
    assert job.session[0].shift == "derive"
    assert job.issue.hold_back == (Reason.SUSPECT,)


def test_paths_are_resolved_against_the_job_file(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever the command is started; and they are shown the way the user reached the job file."""
    (folder / "configs" / "job.toml").write_text(WHOLE)
    monkeypatch.chdir(folder)
    problems = Problems()
    loaded = load_job(os.path.join("configs", "job.toml"), problems)
    assert loaded is not None
    job = loaded.job
    assert job.control is not None
    assert job.control.file == folder / "sample_data" / "control.csv"
    assert job.target.geoid == folder / "grids" / "local.gtx"
    assert job.job.folder == folder / "out" / "wind-park-7"
    assert job.points[0].files == ("../sample_data/rover/*.csv",)  # a pattern, as written
    assert loaded.path == folder / "configs" / "job.toml"
    assert loaded.shown == os.path.join("configs", "job.toml")
    assert loaded.show(job.control.file) == os.path.join("sample_data", "control.csv")


def test_points_are_filled_from_source(folder: Path) -> None:
    """A block's own word goes before [source], and [source] before the default."""
    text = _changed(
        ('crs = "EPSG:4959"', 'crs = "EPSG:4959"\ntime_zone = "+12:00"\nangles = "dms"\ndecimal = ","'),
        ('files = ["*.csv"]', 'files = ["*.csv"]\nangles = "decimal"\n[[points]]\nfiles = ["b"]\ncrs = "EPSG:7843"'),
    )
    first, second = _loaded(folder, text).job.points
    assert (first.crs, first.time_zone, first.angles, first.decimal) == ("EPSG:4959", "+12:00", "decimal", ",")
    assert (second.crs, second.time_zone, second.angles, second.decimal) == ("EPSG:7843", "+12:00", "dms", ",")


def test_where_a_key_is_written(folder: Path) -> None:
    """A loaded job knows the line of each key, and the parent's where the key is left out."""
    loaded = _loaded(folder, LEAST)
    assert loaded.where("target", "height") == (loaded.shown, 6)
    assert loaded.where("session", 0, "ties", 0) == (loaded.shown, 14)


def test_a_loaded_job_travels(folder: Path) -> None:
    """It goes to another process and comes back the same."""
    loaded = _loaded(folder, WHOLE)
    assert pickle.loads(pickle.dumps(loaded)) == loaded


def test_a_byte_order_mark_is_no_fault(folder: Path) -> None:
    """Some editors put one before UTF-8 text."""
    assert _loaded(folder, "\ufeff" + LEAST).job.job.name == "yard"


#: what is changed in LEAST, the line of the problem, and pieces of its text
WRONG: list[tuple[str, tuple[str, str], int, list[str]]] = [
    ("unknown key", ("height =", "hieght ="), 6, ["unknown key: 'hieght' in [target]", "'height'"]),
    ("key of another section", ('name = "yard"', 'name = "yard"\ncrs = "EPSG:1"'), 3, ["'crs' in [job]", "[source]"]),
    ("unknown section", ("[control]", "[qualty]\n[control]"), 11, ["unknown key: [qualty]", "'quality'"]),
    (
        "unknown key, deep",
        ('name = "one"', 'name = "one"\nties = [\n  { point = "A", mark = "B", marc = "C" },\n]'),
        17,
        ["'marc' of ties 1 in [[session]] 1", "'mark'"],
    ),
    (
        "unknown key of shift",
        ('name = "one"', 'name = "one"\nshift = { east = 1, north = 1, up = 1, upp = 1 }'),
        16,
        ["'upp' of shift", "'up'"],
    ),
    ("unknown column", ('["*.csv"]', '["*.csv"]\n[points.columns]\nheigth = "H"'), 12, ["'heigth'", "'height'"]),
    ("column of a block", ('["*.csv"]', '["*.csv"]\nlatitude = "Lat"'), 11, ["'latitude' belongs in [points.columns]"]),
    ("misspelled block", ("[[points]]", "[[point]]"), 9, ["unknown key: [point]", "'points': write [[points]]"]),
    (
        "two keys are near",
        (
            'name = "one"',
            'name = "one"\nsetup = { mark = "T", longitude = 0, latitude = 1, ellipsoid_height = 0, height = 2 }',
        ),
        16,
        ["'height' of setup", "'antenna_height' and 'ellipsoid_height'"],
    ),
    ("text for a list of texts", ('["*.csv"]', '"*.csv"'), 10, ['write files = ["*.csv"]']),
    ("a foot that is not said", ('["*.csv"]', '["*.csv"]\nunits = "us-foot"'), 11, ["0.3048 m", "1200/3937 m"]),
    ("time of a spreadsheet", ('["*.csv"]', '["*.csv"]\ntime_format = "dd.mm.yyyy hh:mm"'), 11, ['"%d.%m.%Y %H:%M"']),
    ("decimal comma", ("[control]", "[quality]\nppm = 0,5\n[control]"), 12, ["the decimal sign is a point"]),
    ("a word for true", ("[control]", "[issue]\nby_code = yes\n[control]"), 12, ["write true or false"]),
    ("time with the day first", ("2026-03-02T07:30:00+13:00", "02.03.2026 07:30"), 16, ["year first"]),
    ("missing key", ('grid = "EPSG:2193"\n', ""), 4, ["'grid' in [target] is missing"]),
    ("missing section", ('[job]\nname = "yard"\nfolder = "out"\n', ""), 1, ["[job] is missing", "single brackets"]),
    ("no points", ('[[points]]\nfiles = ["*.csv"]\n', ""), 1, ["[[points]] is missing", "double brackets"]),
    ("single brackets", ("[[points]]", "[points]"), 9, ["[[points]] must be a list", "double brackets"]),
    ("double brackets", ("[target]", "[[target]]"), 4, ["[target] must be a table", "single brackets"]),
    ("number for text", ('"EPSG:2193"\nheight', "2193\nheight"), 5, ["'grid' in [target]", "text in quotes", "2193"]),
    ("text for a list", ('["*.csv"]', '"*.csv"'), 10, ["'files' in [[points]] 1", "a list, in [ ]"]),
    ("a number for a path", ('"control.csv"', "7"), 12, ["'file' in [control]", "file or folder name in quotes"]),
    ("text for a number", ("[control]", '[quality]\nppm = "1"\n[control]'), 12, ["'ppm'", "a number, without quotes"]),
    ("true for a number", ("[control]", "[quality]\nppm = true\n[control]"), 12, ["'ppm'", "not true"]),
    ("nan", ("[control]", "[quality]\nppm = nan\n[control]"), 12, ["'ppm'", "finite"]),
    ("inf", ("[control]", "[quality]\nmax_pdop = inf\n[control]"), 12, ["'max_pdop'", "finite"]),
    ("negative", ("[control]", "[quality]\nppm = -1\n[control]"), 12, ["'ppm'", "at least 0", "not -1"]),
    ("zero", ("[control]", "[quality]\nmax_pdop = 0\n[control]"), 12, ["'max_pdop'", "more than 0"]),
    ("job name", ('"yard"', '"Yard 7"'), 2, ["'name' in [job]", "a-z, 0-9", "Yard 7"]),
    ("empty list of files", ('["*.csv"]', "[]"), 10, ["'files'", "must not be empty"]),
    ("empty file name", ('["*.csv"]', '["a",\n""]'), 11, ["item 2 of 'files' in [[points]] 1", "must not be empty"]),
    ("word", ('["*.csv"]', '["*.csv"]\nunits = "metres"'), 11, ["metre, foot, us-survey-foot", 'write "metre"']),
    ("wide delimiter", ('["*.csv"]', '["*.csv"]\ndelimiter = ";;"'), 11, ["'delimiter'", "exactly 1 character"]),
    ("time in quotes", ("2026-03-02T07:30:00+13:00", '"2026-03-02T07:30:00+13:00"'), 16, ["without quotes"]),
    ("time without offset", ("07:30:00+13:00", "07:30:00"), 16, ["'start'", "offset from UTC"]),
    ("date alone", ("2026-03-02T07:30:00+13:00", "2026-03-02"), 16, ["'start'", "date and time"]),
    ("shift word", ('name = "one"', 'name = "one"\nshift = "derived"'), 16, ["derive, none", "did you mean 'derive'"]),
    ("shift number", ('name = "one"', 'name = "one"\nshift = 3'), 16, ["'shift'", "{ east = , north = , up = }"]),
    ("shift half given", ('name = "one"', 'name = "one"\nshift = { east = 1, up = 1 }'), 16, ["'north'", "missing"]),
    (
        "latitude out of range",
        ('name = "one"', 'name = "one"\nsetup = { mark = "T", longitude = 0, latitude = 91, ellipsoid_height = 0 }'),
        16,
        ["'latitude' of setup", "at most 90"],
    ),
    ("hold back", ("[control]", '[issue]\nhold_back = ["suspect", "untied"]\n[control]'), 12, ["suspect, unclosed"]),
    ("format unknown", ("[control]", '[issue]\nformats = ["gpgk"]\n[control]'), 12, ["did you mean 'gpkg'"]),
    (
        "drawn twice",
        ("[control]", '[drawing]\ncodes = [{ code = "A", colour = 3 }, { code = "A", layer = "L" }]\n[control]'),
        12,
        ["'A' is listed twice"],
    ),
    ("no format", ("[control]", "[issue]\nformats = []\n[control]"), 12, ["'formats' in [issue] must not be empty"]),
    (
        "two answers",
        ('crs = "EPSG:4959"', 'crs = "EPSG:4959"\ncrs = "EPSG:4979"'),
        9,
        ["the key crs is there twice", "keep one"],
    ),
    (
        "one column for two coordinates",
        ("[control]", '[points.columns]\neasting = "E"\nnorthing = "E"\nheight = "H"\n[control]'),
        13,
        ["easting and northing are the same column", "each to its own column"],
    ),
    (
        "a height that is an easting",
        ("[control]", '[points.columns]\nlongitude = "E"\nlatitude = "N"\nheight = "E"\n[control]'),
        14,
        ["longitude and height are the same column"],
    ),
    (
        "no solution",
        ("[control]", '[points.columns]\nsolution = "Sol"\n[quality]\nsolutions = []\n[control]'),
        14,
        ["no solution is accepted", 'solutions = ["fix"]'],
    ),
    (
        "off at the latest, but when",
        (
            "end = 2026-03-02T16:45:00+13:00",
            "end = 2026-03-02T16:45:00+13:00\nfield_shift = { from = 2026-03-02T08:00:00+13:00, east = 1.0,"
            " north = 0.0, up = 0.0, latest = 2026-03-02T09:00:00+13:00 }",
        ),
        18,
        ["has `latest` and no `until`"],
    ),
    ("no crs", ('[source]\ncrs = "EPSG:4959"\n', ""), 7, ["no crs is given", "[source]"]),
    ("zone", ('crs = "EPSG:4959"', 'crs = "EPSG:4959"\ntime_zone = "Pacific/Aukland"'), 9, ["Pacific/Auckland"]),
    ("zone of a block", ('["*.csv"]', '["*.csv"]\ntime_zone = "+12"'), 11, ["'+12' is not known", "+12:00"]),
    ("folder of zones", ('["*.csv"]', '["*.csv"]\ntime_zone = "Europe"'), 11, ["'Europe' is not known"]),
    ("zone as a path", ('["*.csv"]', '["*.csv"]\ntime_zone = "/etc/localtime"'), 11, ["is not known"]),
    ("zone of the machine", ('["*.csv"]', '["*.csv"]\ntime_zone = "localtime"'), 11, ["is not known"]),
    ("encoding", ('["*.csv"]', '["*.csv"]\nencoding = "latin-99"'), 11, ["'latin-99' is not known"]),
    ("encoding of no text", ('["*.csv"]', '["*.csv"]\nencoding = "base64"'), 11, ["'base64' is not known"]),
    ("time format", ('["*.csv"]', '["*.csv"]\ntime_format = "dd/mm/yyyy"'), 11, ["has no %"]),
    ("time format part", ('["*.csv"]', '["*.csv"]\ntime_format = "%d/%Q"'), 11, ['"%Q", which is not understood']),
    ("time format twice", ('["*.csv"]', '["*.csv"]\ntime_format = "%d/%d/%Y"'), 11, ["more than one day"]),
    (
        "delimiter is decimal",
        ('["*.csv"]', '["*.csv"]\ndelimiter = ","\ndecimal = ","'),
        11,
        ["both the delimiter and the decimal sign"],
    ),
    (
        "no register",
        ('"control.csv"', '"register.csv"'),
        12,
        ["register of control marks", "register.csv is not there"],
    ),
    ("no geoid", ('"ellipsoid"', '"EPSG:7839"\ngeoid = "g.gtx"'), 7, ["geoid grid", "g.gtx is not there"]),
    ("unused geoid", ('"ellipsoid"', '"ellipsoid"\ngeoid = "control.csv"'), 7, ["above the ellipsoid"]),
    ("register is a folder", ('"control.csv"', '"."'), 12, ["is a folder"]),
    ("job folder is a file", ('folder = "out"', 'folder = "control.csv"'), 3, ["is a file, not a folder"]),
    ("end before start", ("02T16:45", "02T06:45"), 17, ["session 'one' ends", "not after its start"]),
    ("end at start", ("16:45:00+13:00", "07:30:00+13:00"), 17, ["not after its start"]),
    (
        "same name twice",
        (
            "16:45:00+13:00\n",
            "16:45:00+13:00\n[[session]]\nstart = 2026-03-03T07:30:00Z\nend = 2026-03-03T07:31:00Z\nname = 'one'\n",
        ),
        21,
        ["a session 'one' already", "job.toml:15"],
    ),
    (
        "tie and check",
        (
            'name = "one"',
            'name = "one"\nties = [{ point = "A", mark = "K" }]\nchecks = [\n{ point = "A", mark = "K" }]',
        ),
        18,
        ["point 'A' is listed twice", "job.toml:16"],
    ),
    (
        "late field shift",
        ('name = "one"', 'name = "one"\nfield_shift = { from = 2026-03-03T00:00:00Z, east = 0, north = 0, up = 0 }'),
        16,
        ["starts after the session's end"],
    ),
    ("no session", (LEAST[LEAST.index("[[session]]") :], ""), 1, ["there is no session"]),
    ("two kinds of sessions", ("[source]", '[sessions]\nfile = "control.csv"\n[source]'), 7, ["(from line 16)"]),
    (
        "no table of sessions",
        (LEAST[LEAST.index("[[session]]") :], '[sessions]\nfile = "s.csv"\n'),
        15,
        ["table of sessions", "s.csv is not there"],
    ),
    ("syntax", ('"ellipsoid"', "ellipsoid"), 6, ["cannot be read from here on", "column 10"]),
    ("syntax at the end", ("2026-03-02T16:45:00+13:00\n", "["), 17, ["cannot be read from here on"]),
    ("key twice", ("[source]", 'grid = "EPSG:1"\n[source]'), 7, ["the key grid is there twice"]),
]


@pytest.mark.parametrize(("change", "line", "pieces"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_one_problem(folder: Path, change: tuple[str, str], line: int, pieces: list[str]) -> None:
    """One mistake gives one problem, on its line, in words that name the key."""
    loaded, found = _load(folder, _changed(change))
    assert loaded is None
    assert [(problem.file, problem.line) for problem in found] == [(str(folder / "configs" / "job.toml"), line)], found
    for piece in pieces:
        assert piece in str(found[0])


@pytest.mark.skipif(os.name == "nt", reason="such a path is one there")
@pytest.mark.parametrize("named", [r"D:\jobs\out", "d:/jobs/out", r"\\office\jobs\out"])
def test_a_folder_of_windows_is_refused_where_it_would_be_made_beside_the_job_file(folder: Path, named: str) -> None:
    """Unless it is there already, from runs of before."""
    text = _changed(('folder = "out"', f"folder = '{named}'"))
    loaded, (problem,) = _load(folder, text)
    assert loaded is None and problem.line == 3
    assert "is a path of Windows" in problem.what and "../out" in problem.fix
    (folder / "configs" / named).mkdir(parents=True)
    assert _loaded(folder, text).job.job.folder.name == Path(named).name


def test_every_problem_at_once(folder: Path) -> None:
    """A mistake of spelling, of type and between keys do not hide one another."""
    text = _changed(
        ('height = "ellipsoid"', 'height = "ellipsoid"\nepocs = 2026.0'),
        ('crs = "EPSG:4959"', 'crs = "EPSG:4959"\ntime_zone = "Moon"'),
        ('"control.csv"', '"lost.csv"'),
        ("[control]", "[quality]\nppm = 'one'\n[control]"),
        ("02T16:45", "02T06:45"),
        ('name = "one"', 'name = "one"\nmarks = 3'),
    )
    loaded, found = _load(folder, text)
    assert loaded is None
    assert sorted(problem.line for problem in found) == [7, 10, 14, 16, 20, 22]


def test_the_delimiter_of_source_is_reported_where_it_is_written(folder: Path) -> None:
    """A default of [source] that does not go with a block."""
    text = _changed(
        ('crs = "EPSG:4959"', 'crs = "EPSG:4959"\ndelimiter = ","'), ('["*.csv"]', '["*.csv"]\ndecimal = ","')
    )
    _, found = _load(folder, text)
    assert [problem.line for problem in found] == [9]


@pytest.mark.parametrize("zone", ["UTC", "GPS", "Pacific/Auckland", "+12:00", "-03:30", "+14:00", "Etc/GMT+3"])
def test_time_zones(folder: Path, zone: str) -> None:
    """Names, offsets, and the GPS time scale."""
    assert _loaded(folder, _changed(('["*.csv"]', f'["*.csv"]\ntime_zone = "{zone}"'))).job.points[0].time_zone == zone


def test_no_job_file(tmp_path: Path) -> None:
    """Absent, a folder, not UTF-8: each is said."""
    problems = Problems()
    assert load_job(tmp_path / "no.toml", problems) is None
    assert load_job(tmp_path, problems) is None
    (tmp_path / "old.toml").write_bytes(b'[job]\nname = "yard"\n# caf\xe9\n')
    assert load_job(tmp_path / "old.toml", problems) is None
    told = [(Path(problem.file).name, problem.line, problem.what) for problem in problems.found]
    assert told == [
        ("no.toml", 0, "there is no such job file"),
        (tmp_path.name, 0, "this is a folder, not a job file"),
        ("old.toml", 3, "the job file is not UTF-8 text"),
    ]


NO_CONTROL = ('[control]\nfile = "control.csv"\ncrs = "EPSG:2193"\n', "")
SECOND = """\
[[session]]
name = "two"
start = 2026-03-03T07:30:00Z
end = 2026-03-03T09:30:00Z
shift = "none"
"""


def test_control_is_needed_to_derive_a_shift(folder: Path) -> None:
    """Without a register nothing ties a derived shift; the problem stands at what would have tied it."""
    _, found = _load(folder, _changed(NO_CONTROL, ('name = "one"', 'name = "one"\nties = [{point="A", mark="K"}]')))
    assert [problem.line for problem in found] == [13]
    assert "no [control] to derive it from" in found[0].what


def test_control_is_needed_for_checks(folder: Path) -> None:
    """A check needs a known coordinate, whatever the shift."""
    checks = 'name = "one"\nshift = "none"\nchecks = [{point="A", mark="K"}]'
    _, found = _load(folder, _changed(NO_CONTROL, ('name = "one"', checks)))
    assert [problem.line for problem in found] == [14]
    assert "no [control] to check against" in found[0].what


def test_control_is_not_needed_where_shifts_are_known(folder: Path) -> None:
    """All sessions without a shift, or tied by a temporary mark to one that has none."""
    assert _loaded(folder, _changed(NO_CONTROL, ('name = "one"', 'name = "one"\nshift = "none"'))).job.control is None
    tie = 'ties = [{point="A", mark="T1"}]\n'
    shared = _changed(NO_CONTROL, ('name = "one"', 'name = "one"\n' + tie)) + SECOND + tie.replace("A", "B")
    assert _loaded(folder, shared).job.control is None
    apart = _changed(NO_CONTROL, ('name = "one"', 'name = "one"\n' + tie)) + SECOND + tie.replace("T1", "T2")
    assert len(_load(folder, apart)[1]) == 1


def test_layout_has_no_meaning(folder: Path) -> None:
    """Comments, order, layout, number forms, another offset of the same moment, another folder: the same job."""
    before = meaning(_loaded(folder, LEAST).job)
    header, sessions = LEAST[: LEAST.index("[[session]]")], LEAST[LEAST.index("[[session]]") :]
    other = folder / "elsewhere"
    (other / "configs").mkdir(parents=True)
    (other / "configs" / "control.csv").write_text("")
    text = sessions.replace("07:30:00+13:00", "06:30:00+12:00") + "# note\n" + header.replace(" = ", "=")
    text = text.replace('name="yard"\nfolder="out"', 'folder="out2"\nname="yard"').replace('["*.csv"]', '[\n"*.csv",]')
    assert meaning(_loaded(other, text + "[quality]\nppm = 1\n").job) == before
    assert json.loads(before)["job"] == {"name": "yard"}


@pytest.mark.parametrize(
    "change",
    [
        ('"EPSG:2193"\nheight', '"EPSG:2105"\nheight'),
        ('crs = "EPSG:4959"', 'crs = "EPSG:4959"\nangles = "dms"'),
        ("16:45:00", "16:45:01"),
        ("[control]", "[checks]\nradius = 0.6\n[control]"),
        ('["*.csv"]', '["*.csv", "b.txt"]'),
        ('["*.csv"]', '["*.csv"]\n[points.columns]\nname = "P"'),
        ('name = "one"', 'name = "one"\nties = [{point = "A", mark = "K"}]'),
        ("[control]", "[issue]\nhold_back = []\n[control]"),
    ],
)
def test_what_is_asked_for_has_meaning(folder: Path, change: tuple[str, str]) -> None:
    """Anything that can move a point or change a column changes the text."""
    assert meaning(_loaded(folder, LEAST).job) != meaning(_loaded(folder, _changed(change)).job)


def test_the_geopackage_is_written_whether_it_is_named_or_not(folder: Path) -> None:
    """And formats listed in another order are the same job."""
    said = [
        meaning(_loaded(folder, _changed(("[control]", f"[issue]\nformats = {formats}\n[control]"))).job)
        for formats in ('["dxf", "csv"]', '["csv", "gpkg", "dxf"]', '["csv"]')
    ]
    assert said[0] == said[1] != said[2]


def test_the_order_of_sessions_has_no_meaning(folder: Path) -> None:
    """Two blocks of sessions changed about are the same job."""
    at = LEAST.index("[[session]]")
    turned = LEAST[:at] + SECOND + LEAST[at:]
    assert meaning(_loaded(folder, LEAST + SECOND).job) == meaning(_loaded(folder, turned).job)


def test_a_block_without_a_crs_is_told_its_layers_own(folder: Path) -> None:
    """It is not taken unasked: programs write WGS 84 where they were told nothing."""
    stored_package(folder / "configs" / "rover.gpkg", {"t": "TEXT"}, [{"t": "2026-03-02T00:00:00Z"}])
    text = _changed(('crs = "EPSG:4959"\n', ""), ('files = ["*.csv"]', 'files = ["*.gpkg"]'))
    _, (problem,) = _load(folder, text)
    assert problem.what == "no crs is given for these points"
    assert problem.fix == 'write crs = "EPSG:4959" in [source] or in this block if the layer\'s own is right'


def test_a_name_alone_is_that_of_the_point_and_of_the_mark(folder: Path) -> None:
    """And means the same as both written out; where each is written is known all the same."""
    short, long = (
        _load(folder, _changed(('name = "one"', f'name = "one"\nties = [{ties}]\nchecks = [\n"C",\n"K" ]')))[0]
        for ties in ('" K1 "', '{ point = "K1", mark = "K1" }')
    )
    assert short is not None and long is not None
    session = short.job.session[0]
    assert [(one.point, one.mark) for one in (*session.ties, *session.checks)] == [(n, n) for n in ("K1", "C", "K")]
    assert meaning(short.job) == meaning(long.job)
    assert short.where("session", 0, "checks", 1)[1] == short.where("session", 0, "checks", 0)[1] + 1


def test_blanks_around_a_name_are_no_part_of_it(folder: Path) -> None:
    """Names of sessions, points and marks are matched with what exports and registers hold."""
    text = _changed(('name = "one"', 'name = " one "\nties = [{ point = " A 1", mark = "K2 " }]'))
    session = _loaded(folder, text).job.session[0]
    assert (session.name, session.ties[0].point, session.ties[0].mark) == ("one", "A 1", "K2")
    _, found = _load(folder, _changed(('name = "one"', 'name = " "')))
    assert [(problem.line, "must not be empty" in problem.what) for problem in found] == [(15, True)]


#: What somebody may put behind any key: every kind of value that TOML has, in and out of lists and tables.
ODD: tuple[object, ...] = (
    True, 7, -1, 1.5, 2.0, 1e300, 10**400, math.nan, math.inf, "x", "", "2", "x" * 6000, "a\nb", datetime(2026, 3, 2),
    date(2026, 3, 2), time(8), [], [1], ["a"], [""], [True], [[1]], [[]], [{}], [[1, 2]] * 101, {}, {"a": 1},
)  # fmt: skip


def keys_of(model: type[BaseModel], above: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, field in model.model_fields.items():
        path = (*above, field.alias or name)
        yield path
        for inner in models(field.annotation):
            yield from keys_of(inner, path)


def test_no_mistake_is_told_in_the_words_of_a_library() -> None:
    """Each key with each kind of value: what pydantic says of it itself never reaches the user."""
    refused = 0
    for path, odd, in_list in product(keys_of(Job), ODD, (False, True)):
        found: object = odd
        for depth, key in enumerate(reversed(path)):
            found = [{key: found}] if in_list and depth < len(path) - 1 else {key: found}
        try:
            Job.model_validate(found)
        except ValidationError as error:
            for each in error.errors(include_url=False):
                told = explain(each, Job)
                own = each["type"] == "value_error"  # our own words, with pydantic's before them
                assert own or each["msg"] not in told.what, (path, odd, told)
                assert "Input should" not in told.what and "Value error" not in told.what, (path, odd, told)
                refused += 1
    assert refused > 10_000


@pytest.mark.parametrize(
    ("key", "value", "what", "fix"),
    [
        ("keep", True, "must be a whole number, without quotes, not true", ""),
        ("keep", "2", "must be a whole number, without quotes, not '2'", "write keep = 2"),
        ("keep", 2.0, "must be a whole number, without quotes, not 2.0", "write keep = 2"),
        ("keep", 1.5, "must be a whole number, without quotes, not 1.5", ""),
        ("keep", "007", "must be a whole number, without quotes, not '007'", ""),
    ],
)
def test_a_whole_number_is_asked_for_in_words(key: str, value: object, what: str, fix: str) -> None:
    with pytest.raises(ValidationError) as caught:
        Job.model_validate({"issue": {key: value}})
    told = next(explain(each, Job) for each in caught.value.errors() if each["loc"][0] == "issue")
    assert (told.what, told.fix) == (f"'{key}' in [issue] {what}", fix)
