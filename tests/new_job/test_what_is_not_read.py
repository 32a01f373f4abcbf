"""Files that the first reading cannot take as they are: what is said of each is true, and what it says to do helps."""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from answered import answer
from folders_made import HEIGHT, cells, job_of, lay, write
from simulate import Simulation
from told_of import told_of

from pipeline import run_job
from pipeline.check import check_job
from pipeline.new_job import new_job
from pipeline.problems import JobError

HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "time": "Time UTC",
         "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip


def made(folder: Path, heads: Mapping[str, str] | None = None, time: str = "%Y-%m-%d %H:%M:%S",
         told: Mapping[str, Sequence[str]] | None = None, **more: str) -> Simulation:  # fmt: skip
    job = job_of()
    lay(folder, job)
    write(folder / "a.csv", job, heads or HEADS, time=time, told=told, **more)  # type: ignore[arg-type]
    return job


def refused(folder: Path) -> str:
    return told_of(folder)


def raw(path: str) -> dict[str, dict[str, object]]:
    found: dict[str, dict[str, object]] = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    return found


@pytest.mark.parametrize("blanks", [False, True])
def test_a_register_without_a_heading_is_read_by_number(blanks: bool, tmp_path: Path) -> None:
    made(tmp_path)
    path = tmp_path / "control.csv"
    rows = [line.split(",")[:4] for line in path.read_text(encoding="utf-8").splitlines()]
    assert rows[0] == ["mark", "easting", "northing", "height"]
    path.write_text("".join(f"{('   ' if blanks else ',').join(row)}\n" for row in rows[1:]), encoding="utf-8")
    started = new_job(tmp_path)
    control = raw(started.path)["control"]
    assert control["header"] == 0 and control["columns"]["mark"] == 1  # type: ignore[index]
    asked = [one.question.key for one in started.asked]
    answer(Path(started.path), {**HEIGHT, **({"grid": '"EPSG:2193"'} if "target.grid" in asked else {})})
    record = run_job(started.path, dry_run=True).record
    assert record["verdict"] == "proven" and record["marks"][0]["mark"] == rows[1][0]


@pytest.mark.parametrize(
    ("heads", "says"),
    [
        ({"latitude": "Lat [gon]", "longitude": "Lon [gon]"}, "states gon, but degrees are expected"),
        ({"latitude": "Lat rad", "longitude": "Lon rad"}, "states radians, but degrees are expected"),
        ({"latitude": "Lat (D.MMSS)", "longitude": "Lon (D.MMSS)"}, "states degrees and minutes in one number"),
    ],
)
def test_angles_in_notations_that_are_not_read_are_refused_at_once(
    heads: dict[str, str], says: str, tmp_path: Path
) -> None:
    made(tmp_path, {**HEADS, **heads})
    said = refused(tmp_path)
    assert says in said and "export it in decimal degrees" in said


def test_a_row_of_units_says_so_too(tmp_path: Path) -> None:
    made(tmp_path)
    path = tmp_path / "a.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([head, ",gon,gon,m,,,,", *rows]) + "\n", encoding="utf-8")
    assert 'the row of units below "Lat" states gon' in refused(tmp_path)


def test_degrees_minutes_and_seconds_whose_headings_do_not_tell_them_are_refused(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    heads: dict[str, str] = {}
    told: dict[str, list[str]] = {}
    for word, called in HEADS.items():
        if word not in ("latitude", "longitude"):
            heads[word] = called
            continue
        size = np.abs(job.rows[word].astype(float))
        whole = np.floor(size)
        minutes = (size - whole) * 60
        parts = {"deg": np.sign(job.rows[word].astype(float)) * whole, "min": np.floor(minutes),
                 "sec": (minutes % 1) * 60}  # fmt: skip
        for part, values in parts.items():
            key = f"{word} {part}"
            heads[key] = called if part == "deg" else f"{called}_{part[0]}x"
            told[key] = [f"{value:.5f}" if part == "sec" else f"{value:.0f}" for value in values]
    write(tmp_path / "a.csv", job, heads, time="%Y-%m-%d %H:%M:%S", told=told)
    said = refused(tmp_path)
    assert "export decimal degrees in one column" in said and "only whole degrees" in said


def test_heights_with_separators_between_thousands_are_shown(tmp_path: Path) -> None:
    job = job_of()
    told = {"height": [f"{float(text) + 1000:,.0f}".replace(",", " ") for text in cells(job, "height", lambda _: "")]}
    made(tmp_path, told=told)
    said = refused(tmp_path)
    assert f'"EllHt" holds "{told["height"][0]}", which is not a number: it has separators between thousands' in said
    assert "rename" not in said


def test_formulas_without_stored_values_are_said(tmp_path: Path) -> None:
    job = made(tmp_path)
    (tmp_path / "a.csv").unlink()
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(list(HEADS.values()))
    columns = [cells(job, word, lambda at: at.strftime("%Y-%m-%d %H:%M:%S")) for word in HEADS]
    for row in zip(*columns, strict=True):
        sheet.append([float(text) if word in ("latitude", "longitude") else f"={text}+0" if word == "height" else text
                      for word, text in zip(HEADS, row, strict=True)])  # fmt: skip
    book.save(tmp_path / "a.xlsx")
    said = refused(tmp_path)
    assert '"EllHt" is empty, or its formulas have no stored values' in said and "rename" not in said


def test_precisions_with_another_unit_in_every_cell_are_told(tmp_path: Path) -> None:
    job = job_of()
    told = {"sigma_up": ["11 ppm"] * len(job.rows["name"])}
    made(tmp_path, {**HEADS, "sigma_up": "sV"}, told=told)
    page = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    assert '# "sV" holds "11 ppm", which is not a number: it has a unit behind it' in page


def test_a_job_without_a_session_asks_for_them(tmp_path: Path) -> None:
    """Decimal commas in quotes beside decimal points: whatever the sign, some of its numbers cannot be read."""
    job = job_of()
    told = {
        word: [text.replace(".", ",") for text in cells(job, word, lambda _: "")] for word in ("latitude", "longitude")
    }
    made(tmp_path, HEADS, told=told)
    started = new_job(tmp_path)
    assert not raw(started.path).get("session")
    (asks,) = [one.question.asks for one in started.asked if one.question.key == "sessions"]
    assert "no session could be made of a.csv: no row of it has a readable time" in asks
    assert f"# OPEN: {asks[:60]}" in Path(started.path).read_text(encoding="utf-8")


def test_rows_between_blanks_with_an_empty_cell_are_told(tmp_path: Path) -> None:
    job = made(tmp_path)
    (tmp_path / "a.csv").unlink()
    heads = {word: name.replace(" ", "") for word, name in HEADS.items()}
    columns = [cells(job, word, lambda at: at.strftime("%Y-%m-%dT%H:%M:%SZ")) for word in heads]
    rows = [list(row) for row in zip(*columns, strict=True)]
    at = list(heads).index("code")
    for row in rows[:8]:
        row[at] = ""
    text = "\n".join("   ".join(f"{cell:<4}" for cell in row) for row in [list(heads.values()), *rows])
    (tmp_path / "a.txt").write_text(text + "\n", encoding="utf-8")
    started = new_job(tmp_path)
    (note,) = [note for note in started.notes if "another delimiter" in note]
    assert note.startswith(f"a.txt:2: 8 rows of the first {len(rows)} have not as many cells as the header")
    asked = {one.question.key for one in started.asked}
    answer(Path(started.path), {**HEIGHT, **({"ties": ""} if any("ties" in key for key in asked) else {})})
    record = run_job(started.path, dry_run=True).record
    (note,) = [note for note in record["notes"] if "held back as unreadable" in note]
    assert "an empty cell is lost, and a blank in a name parts it in two" in note and "check decimal" not in note


@pytest.mark.parametrize(("form", "month"), [("%d {} %Y %H:%M:%S", "août"), ("%d. {} %Y %H:%M:%S", "Mai")])
def test_months_of_other_languages_are_not_said_to_be_readable(form: str, month: str, tmp_path: Path) -> None:
    made(tmp_path, time=form.format(month))
    said = refused(tmp_path)
    assert "export months as numbers" in said and "time_format" not in said


def test_years_of_another_era_are_told(tmp_path: Path) -> None:
    """2026 of the common era is 2569 of the Buddhist one."""
    job = job_of()
    told = {"time": cells(job, "time", lambda at: f"{at.year + 543}{at:-%m-%d %H:%M:%S}")}
    made(tmp_path, told=told)
    said = refused(tmp_path)
    assert "2569 is not a year of GNSS work" in said and "in the Buddhist era it is 2026" in said


def test_years_from_1912_on_are_told_without_a_format_that_cannot_read_them(tmp_path: Path) -> None:
    """2026 of the common era is the year 115 in Taiwan."""
    job = job_of()
    made(tmp_path, told={"time": cells(job, "time", lambda at: f"{at.year - 1911}/{at:%m/%d %H:%M:%S}")})
    said = refused(tmp_path)
    assert "does it count from 1912 on, as in Taiwan, where 115 is 2026?" in said and "time_format" not in said


@pytest.mark.parametrize("page", ["cp1254", "cp1252"])
def test_columns_that_are_asked_after_fit_any_code_page(page: str, tmp_path: Path) -> None:
    """ "Yüksekliği" in the bytes of cp1254 is "Yüksekliði" in those of cp1252; the numbers below are the same."""
    job = made(tmp_path, {**HEADS, "height": "Ölçüm Yüksekliği", "code": "Ağaç"}, encoding="cp1254")
    started = new_job(tmp_path)
    asked = {one.question.key: one.question for one in started.asked}
    place = str(list(HEADS).index("height") + 1)
    (candidate,) = [one for one in asked["height"].candidates if one.value == place]
    assert cells(job, "height", lambda _: "")[0] in candidate.why
    answer(Path(started.path), {"encoding": f'"{page}"', "points.columns.height": place, **HEIGHT})
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


def test_a_code_page_that_the_register_tells_is_offered_first_for_the_export(tmp_path: Path) -> None:
    job = job_of()
    on = {one["mark"] for each in job.job["session"] for key in ("ties", "checks") for one in each[key]}
    spelt = {mark: f"基{number}" for number, mark in enumerate(sorted(on), start=1)}
    lay(tmp_path, job)
    path = tmp_path / "control.csv"
    text = path.read_text(encoding="utf-8").replace("mark,", "点名,", 1)
    for mark, other in spelt.items():
        text = text.replace(f"\n{mark},", f"\n{other},")
    path.write_bytes(text.encode("cp932"))
    marks = {one["point"]: spelt[one["mark"]] for each in job.job["session"] for key in ("ties", "checks")
             for one in each[key]}  # fmt: skip
    names = [marks.get(name, name) for name in map(str, job.rows["name"])]
    write(tmp_path / "a.csv", job, HEADS, time="%Y-%m-%d %H:%M:%S", told={"name": names}, encoding="cp932")
    started = new_job(tmp_path)
    asked = {one.question.key: one.question for one in started.asked}
    assert asked["encoding"].candidates[0].value == '"cp932"' and not started.notes
    answer(Path(started.path), {"encoding": '"cp932"', **HEIGHT})
    assert raw(started.path)["control"]["encoding"] == "cp932"
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


def test_a_register_whose_letters_make_no_sense_is_not_said_to_be_missing(tmp_path: Path) -> None:
    """Bytes that no page has: 0x81 and 0x98 stand for nothing in those of one byte, 0xff in those of two."""
    made(tmp_path)
    path = tmp_path / "control.csv"
    path.write_bytes(path.read_bytes() + b"\x81\x98\xff,1,2,3\n")
    started = new_job(tmp_path)
    told = {file: why for file, _, why in started.files}
    assert "save it with the encoding UTF-8" in told["control.csv"]
    assert any("control.csv cannot be read, and may be it" in note for note in started.notes)


def test_marks_in_x_y_z_are_not_read_and_how_to_export_them_is_said(tmp_path: Path) -> None:
    made(tmp_path)
    path = tmp_path / "control.csv"
    names = [line.split(",")[0] for line in path.read_text(encoding="utf-8").splitlines()[1:]]
    rows = [f"{name},{-5086000 - at}.113,{455000 + at}.2,{-3807000 + at}.35\n" for at, name in enumerate(names)]
    path.write_text("Mark,X,Y,Z\n" + "".join(rows), encoding="utf-8")
    started = new_job(tmp_path)
    (asked,) = [one.question.asks for one in started.asked if "X, Y, Z" in one.question.asks]
    assert "ellipsoidal height" in asked


@pytest.mark.parametrize("asked", [True, False])
def test_a_register_whose_heights_are_in_feet_asks_which_foot(asked: bool, tmp_path: Path) -> None:
    made(tmp_path)
    path = tmp_path / "control.csv"
    text = path.read_text(encoding="utf-8")
    assert text.startswith("mark,easting,northing,height")
    heading = "Ellipsoidal height (ft)" if asked else "Ellipsoidal height (m)"
    path.write_text(text.replace("height", heading, 1), encoding="utf-8")
    feet = [one.question.asks for one in new_job(tmp_path).asked if one.question.key == "units"]
    assert bool(feet) == asked and all("give the heights in metres" in one for one in feet)


@pytest.mark.parametrize("blanks", [False, True])
def test_rows_of_more_cells_than_the_header_are_not_said_to_be_empty(blanks: bool, tmp_path: Path) -> None:
    """Names with a blank within between blanks, and decimal commas between commas."""
    job = made(tmp_path)
    (tmp_path / "a.csv").unlink()
    heads = {"name": "Name", "easting": "East", "northing": "North", "height": "EllHt", "time": "UTC", "code": "Code"}
    columns = [cells(job, word, lambda at: at.strftime("%Y-%m-%dT%H:%M:%SZ")) for word in heads]
    if blanks:
        columns[0] = [f"FP {name}" for name in columns[0]]
    else:
        columns[1:4] = [[text.replace(".", ",") for text in column] for column in columns[1:4]]
    sign = "  " if blanks else ","
    rows = [sign.join(row) for row in [list(heads.values()), *zip(*columns, strict=True)]]
    (tmp_path / "a.txt").write_text("\n".join(rows) + "\n", encoding="utf-8")
    with pytest.raises(JobError) as error:
        new_job(tmp_path)
    said = str(error.value)
    assert "is empty" not in said and "the first is line 2" in said
    assert f"{7 if blanks else 9} cells where the header names 6" in said
    assert (
        "a name or code with a blank is split" if blanks else "decimal commas seem to be mixed with comma delimiters"
    ) in said


def test_hidden_sheets_with_readings_or_marks_are_told(tmp_path: Path) -> None:
    """Of a day's export and of a register: nobody who opens the workbook sees that they are left out."""
    made(tmp_path)
    for name in ("a.csv", "control.csv"):
        rows = [line.split(",") for line in (tmp_path / name).read_text(encoding="utf-8").splitlines()]
        (tmp_path / name).unlink()
        book = openpyxl.Workbook()
        later = book.create_sheet("Later")
        later.sheet_state = "veryHidden"
        half = len(rows) // 2 if name == "a.csv" else len(rows) - 1
        for sheet, some in ((book.active, rows[:half]), (later, [rows[0], *rows[half:]])):
            for row in some:
                sheet.append(row)
        book.save(tmp_path / f"{name[:-4]}.xlsx")
        book.close()
    started = new_job(tmp_path)
    told = {name: why for name, _, why in started.files}
    for name in ("a.xlsx", "control.xlsx"):
        assert told[f"{name}, layer Later"].startswith("hidden, not read: ")
    asked = {one.question.key for one in started.asked}
    answer(Path(started.path), {**HEIGHT, **({"grid": '"EPSG:2193"'} if "target.grid" in asked else {})})
    checked = check_job(Path(started.path)).warnings
    assert [one.split(":")[0] for one in checked if "hidden and not read" in one] == ["a.xlsx", "control.xlsx"]
    notes = run_job(started.path, dry_run=True).record["notes"]
    assert [one.split(":")[0] for one in notes if "hidden and not read" in one] == ["a.xlsx", "control.xlsx"]


@pytest.mark.parametrize(
    ("heading", "way", "lengths", "asked"),
    [
        ("Antenna height (slant)", None, (1.544, 2.044), "slant"),
        ("Schräghöhe", None, (1.544, 2.044), "slant"),
        ("Antenna height (slant)", None, (1.544, 1.544), ""),
        ("Antenna height", "Measured to", (1.544, 2.044), "slant"),
        ("Antenna height", None, (1.544, 2.044), "upright"),
    ],
)
def test_slant_lengths_of_poles_are_not_offered(
    heading: str, way: str | None, lengths: tuple[float, float], asked: str, tmp_path: Path
) -> None:
    """They are longer than the height by some centimetres, by the antenna's radius, which no export says."""
    count = len(job_of().rows["name"])
    told = {heading: [f"{lengths[at % 2]:.3f}" for at in range(count)]}
    told |= {way: ["Slant" if at % 3 else "Vertical" for at in range(count)]} if way else {}
    made(tmp_path, {**HEADS, **{word: word for word in told}}, told=told)
    started = new_job(tmp_path)
    text = Path(started.path).read_text(encoding="utf-8").replace("\n# ", "").replace("\n#  ", " ")
    questions = [one.question for one in started.asked if one.question.key == "pole_height"]
    assert len(questions) == (1 if asked else 0)
    assert all(("slant measure" in one.asks) == (asked == "slant") for one in questions)
    assert all(bool(one.candidates) == (asked == "upright") for one in questions)
    assert ("slant measure" in text) == (asked != "upright")


@pytest.mark.parametrize(
    ("within", "at_end", "line", "count"),
    [(True, 0, 4, 1), (True, 4000, 4, 2), (False, 1, 0, 1), (False, 90_000, 0, 1)],
)
def test_stray_nuls_make_no_file_of_two_bytes_a_sign(
    within: bool, at_end: int, line: int, count: int, tmp_path: Path
) -> None:
    """A damaged row, and an end that was set aside and never written: the rest is read, and these are told."""
    made(tmp_path)
    path = tmp_path / "a.csv"
    lines = path.read_bytes().splitlines(keepends=True)
    if within:
        name, rest = lines[3].split(b",", 1)
        lines[3] = name + b"\0," + rest
    path.write_bytes(b"".join(lines) + b"\0" * at_end)
    started = new_job(tmp_path)
    (note,) = (one for one in started.notes if "NUL" in one)
    assert note.startswith(f"a.csv:{line or len(lines) + 1}: {count} line")
    answer(Path(started.path), HEIGHT)
    record = run_job(started.path, dry_run=True).record
    assert record["rows"]["held_back"] == count and record["rows"]["by_reason"] == {"unreadable": count}


def test_a_text_of_two_bytes_a_sign_without_its_mark_is_one_still(tmp_path: Path) -> None:
    made(tmp_path)
    path = tmp_path / "a.csv"
    path.write_bytes(path.read_text(encoding="utf-8").encode("utf-16-be"))
    started = new_job(tmp_path)
    assert raw(started.path)["points"][0]["encoding"] == "utf-16-be"  # type: ignore[index]
    assert not any("NUL" in one for one in started.notes)


@pytest.mark.parametrize("form", ["utf-16-le", "utf-16-be"])
def test_a_text_of_two_bytes_a_sign_is_not_called_damaged(form: str, tmp_path: Path) -> None:
    """Every other byte of it is a NUL: its mark of the order of bytes says so."""
    made(tmp_path)
    path = tmp_path / "a.csv"
    path.write_bytes(("\ufeff" + path.read_text(encoding="utf-8")).encode(form))
    assert not any("NUL" in one for one in new_job(tmp_path).notes)


def test_a_header_with_a_nul_is_refused_in_true_words(tmp_path: Path) -> None:
    made(tmp_path)
    path = tmp_path / "a.csv"
    path.write_bytes(path.read_bytes().replace(b"Point", b"Point\0", 1))
    assert "in line 1: its header has NUL bytes: export it again, or remove them" in refused(tmp_path)


@pytest.mark.parametrize("sign", ["%", "#", ";", "//", "!"])
@pytest.mark.parametrize(("blanks", "column"), [(False, False), (True, False), (True, True)])
def test_comments_with_commas_above_are_no_header(sign: str, blanks: bool, column: bool, tmp_path: Path) -> None:
    """The second names the columns too; between blanks one is the header itself, whose sign may stand for a column."""
    job = made(tmp_path)
    path = tmp_path / "a.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    prose = [
        f"{sign} (lat/lon/height = datum/ellipsoidal, Q=1: fix, 2: float, 3: sbas, 4: dgps, 5: single, 6: ppp, ns)",
        f"{sign} columns: {head}",
    ]
    if blanks:
        head = f"{sign} {head}".replace("Time UTC", "UTC").replace(",", "  ")
        rows = [row.replace(" ", "T").replace(",", "  ") for row in rows]
        rows = [f"{number} {row}" for number, row in enumerate(rows)] if column and sign != "#" else rows
    path.write_text("\n".join([*(prose[:1] if blanks else prose), head, *rows]) + "\n", encoding="utf-8")
    started = new_job(tmp_path)
    (block,) = raw(started.path)["points"]  # type: ignore[misc]
    assert {word: block["columns"][word] for word in ("longitude", "latitude", "height")} == {  # type: ignore[index]
        "longitude": "Lon", "latitude": "Lat", "height": "EllHt",
    }  # fmt: skip
    answer(Path(started.path), HEIGHT)
    record = run_job(started.path, dry_run=True).record
    assert record["verdict"] == "proven" and record["rows"]["read"] == len(job.rows["name"])
    assert record["rows"]["held_back"] == 0


@pytest.mark.parametrize("blanks", [False, True])
def test_lines_of_another_table_below_are_told_by_the_sign_between_the_columns(blanks: bool, tmp_path: Path) -> None:
    job = made(tmp_path, time="%Y-%m-%dT%H:%M:%S", heads={**HEADS, "time": "UTC"})
    path = tmp_path / "a.csv"
    lines = [*path.read_text(encoding="utf-8").splitlines(), *["Base,174.0,-36.0"] * len(job.rows["name"])]
    path.write_text("".join(f"{line.replace(',', '  ') if blanks else line}\n" for line in lines), encoding="utf-8")
    started = new_job(tmp_path)
    answer(Path(started.path), HEIGHT)
    notes = run_job(started.path, dry_run=True).record["notes"]
    (note,) = (one for one in notes if "not have as many cells as the header" in one)
    assert ("with columns separated by blanks" in note) == blanks
    assert ("it belongs to another table" in note) != blanks


@pytest.mark.parametrize(("heading", "readable"), [("Ellip Height (m)", False), ("Ellip Height (ftUS)", True)])
def test_ellipsoidal_heights_in_another_unit_than_the_eastings_are_told_at_once(
    heading: str, readable: bool, tmp_path: Path
) -> None:
    made(tmp_path)
    _, *rows = (tmp_path / "control.csv").read_text(encoding="utf-8").splitlines()
    text = [f"Mark,Easting (ftUS),Northing (ftUS),{heading}", *(",".join(row.split(",")[:4]) for row in rows)]
    (tmp_path / "control.csv").write_text("\n".join(text) + "\n", encoding="utf-8")
    for grid in tmp_path.glob("*.gtx"):
        grid.unlink()
    started = new_job(tmp_path)
    questions = [one.question for one in started.asked if one.question.key == "units"]
    assert (questions == []) == readable
    assert raw(started.path)["control"].get("units") == ("us-survey-foot" if readable else None)
    assert all("export both in that unit, state it in the heading" in one.asks for one in questions)


def test_headings_of_two_words_between_blanks_are_told(tmp_path: Path) -> None:
    """All rows have fewer cells than the header then; with headings of one word each the file is read."""
    rows = [f"P{n} 2026-03-12 01:1{n}:00 {1570250 + n}.25 {5180300 + 2 * n}.5 {12 + n}.5" for n in range(8)]
    path = tmp_path / "rover.txt"
    head = "Point Date Time UTC Easting Northing Ellipsoid height"
    path.write_text("\n".join([head, *rows]), encoding="utf-8")
    with pytest.raises(JobError, match=r'every row has 6 cells, blanks within headings .* as in "Point_name"'):
        new_job(tmp_path)
    path.write_text("\n".join([head.replace("Time UTC", "Time_UTC").replace("d h", "d_h"), *rows]), encoding="utf-8")
    columns = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))["points"][0]["columns"]
    assert (columns["height"], columns["time"]) == ("Ellipsoid_height", "Time_UTC")


def test_rounded_degrees_under_unknown_headings_are_told_with_how_coarse_they_are(tmp_path: Path) -> None:
    """The fifth decimal of a degree of latitude is 1.1 m, a ninetieth of 100 m."""
    rows = "".join(f"P{at},171.8612{at},-43.7025{at},320.1{at}1,2026-03-14T09:0{at}:00Z\n" for at in range(6))
    (tmp_path / "rover.csv").write_text(f"name,v1,v2,v3,time\n{rows}", encoding="utf-8")
    with pytest.raises(JobError) as error:
        new_job(tmp_path)
    assert '"v1" and "v2" may be degrees, but 5 decimals give places to 1 m' in str(error.value)


@pytest.mark.parametrize("sign", ["^", "~", "!"])
@pytest.mark.parametrize("blank", [" ", "_"])
def test_a_delimiter_that_is_not_looked_for_is_named(sign: str, blank: str, tmp_path: Path) -> None:
    """With the line that spreadsheets read above the header, as it is told, the same file is read."""
    rows = [f"P{n},2026-03-12T01:1{n}:00Z,{1570250 + n}.25,{5180300 + 2 * n}.5,{12 + n}.5" for n in range(8)]
    text = "\n".join([f"Point,UTC,Easting,Northing,Ell{blank}Height", *rows]).replace(",", sign)
    path = tmp_path / "rover.txt"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as error:
        new_job(tmp_path)
    told = str(error.value)
    assert f"'{sign}' seems to separate its columns" in told and "blanks within headings" not in told
    assert f'write the line sep={sign} above the header, or state delimiter = "{sign}" in a job file' in told
    path.write_text(f"sep={sign}\n{text}", encoding="utf-8")
    columns = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))["points"][0]["columns"]
    assert (columns["height"], columns["easting"]) == (f"Ell{blank}Height", "Easting")


def test_signs_within_headings_are_not_taken_for_delimiters(tmp_path: Path) -> None:
    text = "Point;Spur*Rad*;Weg*\nA*1*2*;5;6\nB*1*2*;7;8\n"
    (tmp_path / "rover.txt").write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as error:
        new_job(tmp_path)
    assert "seems to separate" not in str(error.value)


def test_references_by_letters_of_squares_are_told_with_what_they_mean(tmp_path: Path) -> None:
    rows = [f"P{at},51.40{at}12345678,-0.39{at}12345678,104.5,2026-03-11T0{at}:42:10Z" for at in range(1, 6)]
    (tmp_path / "rover.csv").write_text("\n".join(["Point,Lat,Lon,EllHt,Time", *rows]), encoding="utf-8")
    # the first is the water tower of Ordnance Survey's guide to coordinate systems
    marks = ["P1,TG 51409.903 13177.270,52.733", "P2,TG 51732.588 13543.025,34.415"]
    lines = ["Station,OS Grid Ref,Level (ODN)", *marks]
    (tmp_path / "stations.csv").write_text("\n".join(lines), encoding="utf-8")
    (why,) = [why for name, _, why in new_job(tmp_path).files if name == "stations.csv"]
    assert "TG is a square of 100 km of the British National Grid" in why
    assert "easting 651409.903, northing 313177.270 in EPSG:27700" in why and "export eastings and northings" in why
