"""What an export leaves in doubt is asked or told: each folder is one simulated job, spoilt in one way."""

import datetime as dt
import shutil
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import pytest
from answered import answer
from every import every
from folders_made import CLEAR, HEIGHT, cells, drafted, job_of, lay, write
from running import replace_in
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate
from told_of import told_of

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.questions import Question
from pipeline.new_job.start import Started
from pipeline.new_job.time_notation import time_notation
from pipeline.problems import JobError
from pipeline.read.clock_headings import zone_in_heading

HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "time": "Time UTC",
         "solution": "Solution", "code": "Code"}  # fmt: skip
Made = tuple[Started, dict[str, Question]]


def start(folder: Path) -> Made:
    """Start a job, and return it with its questions by key."""
    started = new_job(folder)
    return started, {one.question.key: one.question for one in started.asked}


#: Words of an export whose headings are in one language.
_WORDS = ("name", "time", "latitude", "longitude", "height")


def made(
    folder: Path,
    heads: Mapping[str, str] | None = None,
    time: str | Callable[[dt.datetime], str] = "%Y-%m-%d %H:%M:%S",
    told: Mapping[str, Sequence[str]] | None = None,
    day: dt.datetime = CLEAR,
    **more: str,
) -> Simulation:
    """Write the simulated job with one export, ``a.csv``."""
    job = job_of(day)
    lay(folder, job)
    write(folder / "a.csv", job, HEADS if heads is None else heads, time=time, told=told, **more)  # type: ignore[arg-type]
    return job


def block_of(started: Started) -> dict[str, object]:
    """Return the first block of the job file."""
    block: dict[str, object] = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["points"][0]
    return block


def values(question: Question) -> list[str]:
    """Return the candidates' values."""
    return [one.value for one in question.candidates]


def height_answered(started: Started) -> None:
    replace_in(Path(started.path), {f"# height = {HEIGHT['height']}": f"height = {HEIGHT['height']}"})


def test_names_that_begin_with_the_sign_of_a_comment_are_rows_until_somebody_says_otherwise(tmp_path: Path) -> None:
    job = job_of()
    names = [str(name) for name in job.rows["name"]]
    on = {one["point"] for each in job.job["session"] for key in ("ties", "checks") for one in each[key]}
    named = [at for at, name in enumerate(names) if name not in on][:3]
    for at in named:
        names[at] = f"#{at}"
    made(tmp_path, told={"name": names})
    started, asked = start(tmp_path)
    assert f"{len(named)} lines" in asked["comment"].asks and f"line {named[0] + 2}:" in asked["comment"].asks
    assert values(asked["comment"]) == ['"#"'] and "comment" not in block_of(started)
    height_answered(started)
    text = Path(started.path).read_text()
    # readings: the line is deleted, as it says
    (answer,) = (line for line in text.splitlines() if line.startswith('# comment = "#"'))
    replace_in(Path(started.path), {f"{answer}\n": ""})
    assert run_job(started.path, dry_run=True).record["rows"]["read"] == len(names)
    # the other answer is told at every run, with the lines that it passes over
    Path(started.path).write_text(text.replace('# comment = "#"', 'comment = "#"'))
    record = run_job(started.path, dry_run=True).record
    assert record["rows"]["read"] == len(names) - len(named)
    (note,) = [note for note in record["notes"] if "skipped as comments" in note]
    assert note.startswith(f'a.csv:{named[0] + 2}: {len(named)} lines that begin with "#"')


@pytest.mark.parametrize(
    ("line", "stated", "asked"),
    [
        ("# base moved, at noon", True, False),
        ("#,,,,,,", True, False),
        ("# Point,Lat,Lon,EllHt,Time UTC,Solution,Code", True, False),
        ("#P9,-43.7,171.8,310.0,2026-03-19 19:50:00,fix,KERB", False, True),
        (" # P9,-43.7,171.8,310.0,2026-03-19 19:50:00,,", False, True),
    ],
)
def test_only_lines_that_are_no_rows_are_comments(line: str, stated: bool, asked: bool, tmp_path: Path) -> None:
    made(tmp_path)
    path = tmp_path / "a.csv"
    path.write_text(path.read_text(encoding="utf-8") + line + "\n", encoding="utf-8")
    started, questions = start(tmp_path)
    assert ("comment" in block_of(started), "comment" in questions) == (stated, asked)


def test_where_every_name_begins_with_it_the_sign_is_no_comment(tmp_path: Path) -> None:
    job = job_of()
    made(tmp_path, told={"name": [f"#{name}" for name in job.rows["name"]]})
    started, questions = start(tmp_path)
    assert "comment" not in block_of(started) and "comment" not in questions


def test_a_column_of_numbers_under_the_sign_alone_is_no_comment(tmp_path: Path) -> None:
    made(tmp_path, {**HEADS, "name": "#"})
    started, questions = start(tmp_path)
    assert block_of(started)["columns"]["name"] == "#" and "comment" not in questions  # type: ignore[index]


DAY_FIRST, MONTH_FIRST = "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M:%S"


@pytest.mark.parametrize(
    ("wrong", "rows", "decided"),
    [
        ({6: "13"}, 20, False),
        ({6: "13", 7: "23"}, 20, False),
        ({6: "13", 12: "13", 15: "28"}, 20, False),
        ({at: "13" for at in range(10, 20)}, 20, True),  # the second day of two
        ({19: "13"}, 20, True),  # no other date comes behind it
        ({at: "13" for at in range(5, 10)}, 20, True),  # more than are typed wrong
    ],
)
def test_a_digit_typed_wrong_does_not_decide_day_and_month(wrong: dict[int, str], rows: int, decided: bool) -> None:
    texts = [f"{wrong.get(at, '03')}/02/2026 {7 + at // 6:02d}:{at % 6}0:00" for at in range(rows)]
    found = time_notation(texts)
    assert found is not None
    assert found.formats == ((DAY_FIRST,) if decided else (DAY_FIRST, MONTH_FIRST))
    assert found.odd == (() if decided else tuple((at, texts[at]) for at in wrong))
    assert found.alone == (decided and len(wrong) == 1)


def test_the_row_that_may_be_typed_wrong_is_named(tmp_path: Path) -> None:
    job = job_of(dt.datetime(2026, 3, 4, 19, 30, tzinfo=dt.UTC))
    texts = cells(job, "time", lambda moment: moment.strftime(DAY_FIRST))
    texts[4] = "2" + texts[4][1:]
    made(tmp_path, told={"time": texts}, day=job.plan.start)
    _, asked = start(tmp_path)
    assert values(asked["time_format"]) == [f'"{DAY_FIRST}"', f'"{MONTH_FIRST}"']
    assert f'"{texts[4]}" (line 6 or near it)' in asked["time_format"].asks


@pytest.mark.parametrize(("form", "order"), [("%y-%m-%d", "the year first"), ("%d-%m-%y", "the day first")])
def test_years_of_two_figures_may_be_first(form: str, order: str, tmp_path: Path) -> None:
    """Either answer, with the bounds that go with it, comes to the issue."""
    made(tmp_path, time=f"{form} %H:%M:%S")
    started, asked = start(tmp_path)
    assert sorted(values(asked["time_format"])) == ['"%d-%m-%y %H:%M:%S"', '"%y-%m-%d %H:%M:%S"']
    height_answered(started)
    path = Path(started.path)
    replace_in(path, {f'# time_format = "{form} %H:%M:%S"': f'time_format = "{form} %H:%M:%S"'})
    lines = path.read_text(encoding="utf-8").splitlines()
    for at, line in enumerate(lines):
        if line.startswith(("# start = ", "# end = ")) and line.endswith(f"  # {order}"):
            lines[at] = line[2:]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert run_job(path, dry_run=True).record["verdict"] == "proven"


@pytest.mark.parametrize(
    ("heading", "zone"),
    [
        ("Time (UTC+13)", "+13:00"),
        ("Time UTC +13:00", "+13:00"),
        ("GMT-3", "-03:00"),
        ("UTC+05:30", "+05:30"),
        ("Zeit [UTC\u22121]", "-01:00"),
        ("Time (+0930)", "+09:30"),
        ("Local time (UTC+1)", "+01:00"),
        ("Time UTC", "UTC"),
        ("UTC_time", "UTC"),
        ("ObservedUtc", "UTC"),
        ("GPS Time", "GPS"),
        ("Local Time", ""),
        ("Time UTC13", None),  # no sign
        ("Etc/GMT-3", None),  # whose sign is the other one
        ("Time (UTC+25)", None),
        ("Time", None),
    ],
)
def test_a_heading_says_a_zone_or_an_offset(heading: str, zone: str | None) -> None:
    """UTC+13 is thirteen hours ahead of UTC (ISO 8601 writes such offsets so)."""
    assert zone_in_heading(heading) == zone


def test_the_offset_of_a_heading_is_taken_and_told(tmp_path: Path) -> None:
    ahead = dt.timedelta(hours=13)
    made(tmp_path, {**HEADS, "time": "Time (UTC+13)"}, time=lambda at: (at + ahead).strftime("%Y-%m-%d %H:%M:%S"))
    started, asked = start(tmp_path)
    assert set(asked) == {"target.height"}
    assert 'time_zone = "+13:00"  # the heading "Time (UTC+13)" says so' in Path(started.path).read_text("utf-8")
    assert drafted(started).sessions[0].start.astimezone(dt.UTC) < CLEAR + dt.timedelta(hours=1)


def two_columns(folder: Path, heads: tuple[str, str], local: int) -> Made:
    """Start a job with dates that are so many hours ahead of the times, which are UTC's, beside them."""
    job = job_of(CLEAR)
    days = cells(job, "time", lambda at: (at + dt.timedelta(hours=local)).strftime("%Y-%m-%d"))
    head = {word: name for word, name in HEADS.items() if word != "time"} | {"date": heads[0], "time": heads[1]}
    made(folder, head, time="%H:%M:%S", told={"date": days})
    return start(folder)


@pytest.mark.parametrize(
    ("heads", "local", "asked"),
    [
        (("Date", "UTC Time"), 13, True),  # times go back over midnight, and the date stays
        (("Date", "UTC Time"), 0, False),
        (("Local date", "UTC Time"), 0, True),
        (("UTC Date", "UTC Time"), 0, False),
        (("UTC Date", "GPS Time"), 0, True),
    ],
)
def test_dates_and_times_of_two_clocks_are_asked_after(
    heads: tuple[str, str], local: int, asked: bool, tmp_path: Path
) -> None:
    started, questions = two_columns(tmp_path, heads, local)
    assert ("time_zone" in questions) == asked
    if (heads, asked) == (("Date", "UTC Time"), False):
        assert 'the dates of "Date" are assumed to be on the same clock' in Path(started.path).read_text("utf-8")


@pytest.mark.parametrize("heads", [("UTC Date", "Local Time"), ("Date (UTC)", "Ortszeit"), ("Fecha UTC", "Hora local")])
def test_dates_of_utc_beside_local_times_are_asked_after_and_never_joined_unasked(
    heads: tuple[str, str], tmp_path: Path
) -> None:
    _, questions = two_columns(tmp_path, heads, 0)
    asks = questions["time_zone"]
    assert f'are the dates of "{heads[0]}" on the same clock as the times of "{heads[1]}"?' in asks.asks
    assert '"UTC"' not in values(asks) and all("one clock" in each.why for each in asks.candidates)


@pytest.mark.parametrize("heads", [("UTC Date", "Time"), ("Date (GPS)", "Time")])
def test_the_clock_of_the_dates_is_offered_first_where_that_of_the_times_is_not_said(
    heads: tuple[str, str], tmp_path: Path
) -> None:
    _, questions = two_columns(tmp_path, heads, 0)
    assert values(questions["time_zone"])[0] == ('"UTC"' if "UTC" in heads[0] else '"GPS"')


@pytest.mark.parametrize(
    ("heading", "form", "asked"),
    [("Time", "gps-seconds", True), ("Time", "unix-seconds", False), ("GPS time", "gps-seconds", False),
     ("Unix time", "unix-seconds", False)],
)  # fmt: skip
def test_seconds_since_1970_and_of_the_gps_time_scale_are_told_apart_by_a_heading_or_by_what_is_to_come(
    heading: str, form: str, asked: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """GPS seconds count from 6 January 1980, 315,964,800 s after 1970, and are 18 leap seconds ahead in 2026.

    Seconds since 1970 of 2026 would be of 2036 on the GPS time scale, those of that scale of 2016 if since 1970.
    """
    monkeypatch.setattr("pipeline.new_job.clock_formats.datetime", _InApril)
    behind = 315_964_800 - 18 if form == "gps-seconds" else 0
    made(tmp_path, {**HEADS, "time": heading}, time=lambda at: str(int(at.timestamp()) - behind))
    started, questions = start(tmp_path)
    assert ("time_format" in questions) == asked
    if asked:  # the date that lies nearer to today's comes first
        assert values(questions["time_format"])[0] == f'"{form}"'
        assert "it is 2026-03-19" in questions["time_format"].candidates[0].why
    assert drafted(started).sessions[0].start.date() == CLEAR.date()


class _InApril(dt.datetime):
    """A clock that stands in the month after the readings."""

    @classmethod
    def now(cls, tz: dt.tzinfo | None = None) -> "_InApril":
        return cls(2026, 4, 1, tzinfo=tz)


@pytest.mark.parametrize("first", ["Created", "Recorded at"])
def test_one_time_in_all_rows_is_none_of_observation_where_another_column_has_them(first: str, tmp_path: Path) -> None:
    job = job_of()
    told = {"created": ["2026-03-25T10:00:00Z"] * len(job.rows["name"])}
    made(tmp_path, {**HEADS, "created": first, "time": "Done"}, time="%Y-%m-%dT%H:%M:%SZ", told=told)
    started, asked = start(tmp_path)
    assert block_of(started)["columns"]["time"] == "Done" and set(asked) == {"target.height"}  # type: ignore[index]


@pytest.mark.parametrize(
    ("told", "heads"),
    [
        ({"time": "2026-03-25T10:00:00Z"}, {"time": "Time"}),
        ({"date": "2026-03-25", "time": "00:00:00"}, {"date": "Date", "time": "Time"}),
        ({"time": "1774432800"}, {"time": "Unix time"}),
    ],
)
def test_one_time_in_all_rows_is_asked_after(told: dict[str, str], heads: dict[str, str], tmp_path: Path) -> None:
    count = len(job_of().rows["name"])
    made(tmp_path, {**HEADS, **heads}, told={word: [text] * count for word, text in told.items()})
    started, asked = start(tmp_path)
    assert values(asked["time"]) == [f'"{heads["time"]}"'] and "time" not in block_of(started)["columns"]  # type: ignore[operator]


def test_a_second_column_of_times_is_told(tmp_path: Path) -> None:
    heads = {**HEADS, "later": "Uploaded", "time": "Measured"}
    later = cells(job_of(), "time", lambda at: f"{at + dt.timedelta(days=2):%Y-%m-%dT%H:%M:%SZ}")
    made(tmp_path, heads, time="%Y-%m-%dT%H:%M:%SZ", told={"later": later})
    started, _ = start(tmp_path)
    assert block_of(started)["columns"]["time"] == "Measured"  # type: ignore[index]
    assert 'Uploaded: it also holds times; those of "Measured" are used' in Path(started.path).read_text("utf-8")


@pytest.mark.parametrize(
    ("code", "page", "wrong"),
    [
        ("być", "cp1250", "byæ"),
        ("bříza", "cp1250", "bøíza"),
        ("забор", "cp1251", "çàáîð"),
        ("δρόμος", "cp1253", "äñüìïò"),
        ("çeşme", "cp1254", "çeþme"),
        ("clôture", "cp1252", "clôture"),
        ("側溝", "cp932", None),
    ],
)
def test_code_pages_that_nothing_tells_apart_are_asked_after(
    code: str, page: str, wrong: str | None, tmp_path: Path
) -> None:
    """What western Europe's page reads in another's bytes: the tables of the pages themselves."""
    assert wrong is None or code.encode(page).decode("cp1252") == wrong
    job = job_of()
    codes = [code if text == "ROAD-EDGE" else text for text in job.rows["code"].tolist()]
    made(tmp_path, told={"code": codes}, encoding=page)
    started, asked = start(tmp_path)
    told = {one.value.strip('"'): one.why for one in asked["encoding"].candidates}
    assert code in told[page] and (wrong is None or wrong in told["cp1252"])
    assert "encoding" not in block_of(started)


@pytest.mark.parametrize(
    ("heads", "code", "page"),
    [
        ({"height": "Ellipsoidische Höhe"}, "Gebäude", "cp1252"),  # a heading that is known, and nothing that differs
        ({"height": "Altitude ellipsoïdale"}, "clôture", "cp1252"),
        ({"height": "Wysokość elipsoidalna"}, "krawężnik", "cp1250"),
        ({}, "krawężnik ścieżka", "cp1250"),  # in no other page letters alone
        ({}, "słupek", "cp1250"),  # "s³upek" is no word
        ({}, "Böschung 12° 4m²", "cp1252"),
        ({"latitude": "Latitude (°)"}, "KERB", "cp1252"),
        (dict(zip(_WORDS, ("Σημείο", "Χρόνος", "Πλάτος", "Μήκος", "Υψόμετρο"), strict=True)), "Άκρη", "cp1253"),
        (dict(zip(_WORDS, ("Σημείο", "Χρόνος", "Πλάτος", "Μήκος", "Υψόμετρο"), strict=True)), "Άκρη", "iso8859-7"),
        (dict(zip(_WORDS, ("Точка", "Время", "Широта", "Долгота", "Высота"), strict=True)), "забор", "cp1251"),
        (dict(zip(_WORDS, ("Точка", "Время", "Широта", "Долгота", "Высота"), strict=True)), "забор", "koi8-r"),
        (dict(zip(_WORDS, ("Точка", "Час", "Широта", "Довгота", "Висота"), strict=True)), "ліс і поле", "koi8-u"),
        (dict(zip(_WORDS, ("点名", "観測日時", "緯度", "経度", "楕円体高"), strict=True)), "樹木", "euc_jp"),
        (dict(zip(_WORDS, ("点名", "観測日時", "緯度", "経度", "楕円体高"), strict=True)), "樹木", "cp932"),
    ],
)
def test_code_pages_that_headings_or_letters_tell_apart_are_told(
    heads: dict[str, str], code: str, page: str, tmp_path: Path
) -> None:
    job = job_of()
    codes = [code if text == "ROAD-EDGE" else text for text in job.rows["code"].tolist()]
    made(tmp_path, {**HEADS, **heads}, told={"code": codes}, encoding=page)
    started, asked = start(tmp_path)
    assert "encoding" not in asked and block_of(started)["encoding"] == page
    shown = [word for word in f"{' '.join(heads.values())} {code}".split() if not word.isascii()]
    told = Path(started.path).read_text("utf-8").replace("\n#  ", " ")
    assert any(f"as it is not UTF-8; reads {word}" in told for word in shown)


@pytest.mark.parametrize(
    ("code", "page"),
    [
        ("Señal", "cp850"), ("Größe", "cp850"), ("clôture", "cp850"), ("Příbram", "cp852"), ("Größe", "mac_roman"),
    ],
)  # fmt: skip
def test_pages_of_older_systems_are_asked_after(code: str, page: str, tmp_path: Path) -> None:
    """What spreadsheets save for DOS and older machines: read in a page of today a word has a sign within."""
    job = job_of()
    codes = [code if text == "ROAD-EDGE" else text for text in job.rows["code"].tolist()]
    made(tmp_path, told={"code": codes}, encoding=page)
    started, asked = start(tmp_path)
    if "encoding" in asked:
        told = {one.value.strip('"'): one.why for one in asked["encoding"].candidates}
        assert code in told[page]
    else:
        assert block_of(started)["encoding"] == page


@pytest.mark.parametrize("page", ["cp1253", "iso8859-7", "cp1251", "koi8-r"])
def test_words_of_one_script_tell_the_page_where_no_heading_is_known(page: str, tmp_path: Path) -> None:
    """Read in a wrong page the words have capitals behind small letters."""
    greek = ("Κορυφή", "Στιγμή", "Φάρδος", "Άνοιγμα", "Ψήλωμα")
    names = greek if page in ("cp1253", "iso8859-7") else ("Опора", "Момент", "Ширь", "Даль", "Вышина")
    made(tmp_path, dict(zip(_WORDS, names, strict=True)), encoding=page)
    started, asked = start(tmp_path)
    assert {"longitude", "latitude"} <= set(asked)
    if "encoding" in asked:
        assert asked["encoding"].candidates[0].value == f'"{page}"'
    else:
        assert block_of(started)["encoding"] == page


@pytest.mark.parametrize("heading", ["Height", "Z"])
def test_heights_of_the_register_may_be_answered_to_be_above_the_ellipsoid(heading: str, tmp_path: Path) -> None:
    """The same heights as a register with ellipsoidal heights has: without noise all marks agree to a millimetre."""
    job = simulate(Plan(points=5, place=ELLIPSOIDAL, noise=False))
    job.write(tmp_path)
    (tmp_path / "job.toml").unlink()
    (register,) = [path for path in tmp_path.glob("*.csv") if "ellipsoid_height" in path.read_text(encoding="utf-8")]
    replace_in(register, {"ellipsoid_height": heading})
    started, asked = start(tmp_path)
    assert set(asked) == {"target.height"}
    answer(Path(started.path), {"height": '"ellipsoid"'})
    record = run_job(started.path, dry_run=True).record
    assert record["verdict"] == "proven" and all(abs(row["d_height"]) < 0.001 for row in every(record["checks"]))
    # without the mapping the run says which one is lacking
    replace_in(Path(started.path), {"ellipsoid_height = ": "# ellipsoid_height = "})
    both = rf'write both height = "ellipsoid" in \[control\] and ellipsoid_height = "{heading}" in \[control\.columns\]'
    with pytest.raises(JobError, match=both):
        run_job(started.path, dry_run=True)


def refused(folder: Path) -> str:
    return told_of(folder)


def test_heights_under_a_heading_that_nobody_knows_are_asked_after(tmp_path: Path) -> None:
    job = made(tmp_path, {**HEADS, "height": "Up there"})
    started, asked = start(tmp_path)
    first = cells(job, "height", lambda _: "")[0]
    assert [(one.value, one.why) for one in asked["height"].candidates] == [('"Up there"', f'the first is "{first}"')]
    assert "height" not in block_of(started)["columns"]  # type: ignore[operator]
    answer(Path(started.path), {"points.columns.height": '"Up there"', **HEIGHT})
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


def test_numbers_with_separators_between_thousands_are_shown(tmp_path: Path) -> None:
    job = job_of()
    told = {
        word: [f"{float(text):,.0f}".replace(",", " ") for text in cells(job, word, lambda _: "")]
        for word in ("easting", "northing")
    }
    heads = {"name": "Point", "easting": "Easting", "northing": "Northing", "height": "Ell Height", "time": "Time UTC"}
    made(tmp_path, heads, told=told)
    said = refused(tmp_path)
    assert f'"Easting" holds "{told["easting"][0]}", which is not a number: it has separators between thousands' in said
    assert "recognised by their headings" not in said


@pytest.mark.parametrize(
    ("form", "why"),
    [("%d/%m/%Y %H:%M:%S XYZT", "it ends in a zone abbreviation"), ("%Y day %j, %H:%M", "is not a time")],
)
def test_times_that_cannot_be_read_are_shown(form: str, why: str, tmp_path: Path) -> None:
    job = made(tmp_path, {**HEADS, "time": "Time"}, time=form)
    said = refused(tmp_path)
    text = cells(job, "time", lambda at: at.strftime(form))[0]
    assert f'times are not recognised: "Time" holds "{text}", which' in said and why in said
    assert "or state time_format" in said


def test_a_cure_names_no_job_file_where_none_was_written(tmp_path: Path) -> None:
    made(tmp_path, {"name": "Point", "latitude": "Aa", "longitude": "Bb", "height": "Cc", "time": "Dd"})
    path = tmp_path / "a.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("-43.", "about -43."), encoding="utf-8")
    said = refused(tmp_path)
    assert "state which is which in [points.columns]" in said and "none was written" in said
    (tmp_path / "a.csv").unlink()
    assert "none was written" not in refused(tmp_path)


def test_dates_and_times_of_figures_alone_are_told_by_their_headings(tmp_path: Path) -> None:
    days = cells(job_of(), "time", lambda at: at.strftime("%Y%m%d"))
    heads = {word: name for word, name in HEADS.items() if word != "time"} | {"date": "UTC Date", "time": "UTC Time"}
    made(tmp_path, heads, time="%H%M%S", told={"date": days})
    started, asked = start(tmp_path)
    assert set(asked) == {"target.height"}
    height_answered(started)
    record = run_job(started.path, dry_run=True).record
    assert record["verdict"] == "proven" and record["sessions"][0]["start"].startswith("2026-03-19")


def test_headings_that_nobody_knows_are_shown_with_the_first_row_and_what_to_do(tmp_path: Path) -> None:
    made(tmp_path, {**HEADS, "latitude": "Breitenwert", "longitude": "Längenwert"})
    path = tmp_path / "a.csv"
    path.write_text(
        path.read_text(encoding="utf-8").replace("-43.", "about -43."), encoding="utf-8"
    )  # nor their values
    said = refused(tmp_path)
    assert '"Point", "Breitenwert", "Längenwert", "EllHt"' in said and '"S01-T1", "about -43.7' in said
    assert "[points.columns]" in said


def test_a_register_without_a_header_is_told(tmp_path: Path) -> None:
    made(tmp_path)
    (tmp_path / "control.csv").write_text("M1;7395000,000;333000,000;760,000\nM2;7395310,000;333640,000;763,200\n")
    started, _ = start(tmp_path)
    (why,) = [why for name, _, why in started.files if name == "control.csv"]
    assert why.startswith("its first line holds data") and "mark;easting;northing;height" in why


def test_the_same_export_twice_is_taken_once(tmp_path: Path) -> None:
    made(tmp_path)
    shutil.copy(tmp_path / "a.csv", tmp_path / "copy of a.csv")
    started, asked = start(tmp_path)
    assert block_of(started)["files"] == ["a.csv"] and set(asked) == {"target.height"}
    assert ("copy of a.csv", "neither", "is identical to a.csv, which is used") in started.files


def test_the_same_register_and_table_of_sessions_twice_are_taken_once(tmp_path: Path) -> None:
    made(tmp_path)
    (tmp_path / "days.csv").write_text("name,start,end\nday,2026-03-19T00:00:00Z,2026-03-22T00:00:00Z\n")
    for name in ("control", "days"):
        shutil.copy(tmp_path / f"{name}.csv", tmp_path / f"{name} - copy.csv")
    started, asked = start(tmp_path)
    assert set(asked) == {"target.height"}
    for name in ("control", "days"):
        told = (f"{name} - copy.csv", "neither", f"is identical to {name}.csv, which is used")
        assert told in started.files


def test_two_exports_of_the_same_readings_are_counted_once(tmp_path: Path) -> None:
    """Not the same bytes: one has other ends of lines."""
    made(tmp_path)
    (tmp_path / "b.csv").write_bytes((tmp_path / "a.csv").read_bytes().replace(b"\r\n", b"\n"))
    started, _ = start(tmp_path)
    sessions = drafted(started).sessions
    assert sessions and all(session.asks is None and session.ties and session.checks for session in sessions)


def test_dates_without_times_of_day_are_shown(tmp_path: Path) -> None:
    made(tmp_path, {**HEADS, "time": "Date"}, time="%Y-%m-%d")
    assert 'times are not recognised: "Date" holds "2026-03-19", which' in refused(tmp_path)


def test_rows_below_a_header_that_is_a_comment_itself_are_told(tmp_path: Path) -> None:
    """Its sign has to be stated, so that the rows cannot be asked after."""
    made(tmp_path)
    path = tmp_path / "a.csv"
    row = "#7,-43.7,171.8,310.0,2026-03-19 19:50:00,fix,KERB"
    path.write_text("# " + path.read_text(encoding="utf-8") + row + "\n", encoding="utf-8")
    started, asked = start(tmp_path)
    assert block_of(started)["comment"] == "#" and "comment" not in asked
    (note,) = [line for line in Path(started.path).read_text("utf-8").splitlines() if "below the header begins" in line]
    assert note.startswith('# 1 line below the header begins with "#" and has as many cells as it')


def test_times_that_are_written_in_two_ways_are_shown(tmp_path: Path) -> None:
    """A spreadsheet turns those that it takes for dates, and leaves the others."""
    texts = cells(job_of(), "time", lambda at: at.strftime("%Y-%m-%dT%H:%M:%S"))
    texts = [text if at % 2 else f"{text[8:10]}/{text[5:7]}/{text[:4]} {text[11:]}" for at, text in enumerate(texts)]
    made(tmp_path, told={"time": texts})
    assert f'holds times written in several ways, as "{texts[0]}" and "{texts[1]}"' in refused(tmp_path)


def test_a_link_that_leads_nowhere_is_told(tmp_path: Path) -> None:
    """As of a share that is not there: a day may be missing."""
    made(tmp_path)
    (tmp_path / "b.csv").symlink_to(tmp_path / "elsewhere" / "b.csv")
    assert ("b.csv", "neither", "is a link to a file that is not there") in start(tmp_path)[0].files


@pytest.mark.parametrize("text", ["{:_.0f}", "'{:.3f} m'"])
def test_heights_of_a_register_that_are_no_numbers_are_shown_and_not_missed(text: str, tmp_path: Path) -> None:
    """A height column that is there, with separators between thousands, is not said to be lacking."""
    made(tmp_path)
    path = tmp_path / "control.csv"
    head, *rows = (line.split(",") for line in path.read_text(encoding="utf-8").splitlines())
    at = head.index("height")
    for row in rows:
        row[at] = text.format(float(row[at]) + 2000.0).replace("_", " ")
    path.write_text("\n".join(";".join(row) for row in (head, *rows)) + "\n", encoding="utf-8")
    (note,) = [note for note in new_job(tmp_path).notes if note.startswith("control.csv has no heights")]
    assert f'"height" holds "{rows[0][at]}", which is not a number' in note and "add a height column" not in note
