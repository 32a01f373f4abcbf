"""What a user is told of a job that cannot be run and of rows that cannot be used: why, and which key decides."""

import itertools
import unicodedata
from collections.abc import Callable
from pathlib import Path

import pytest
from running import Row, replace_in, rewrite_export
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError, Problem

PLAN = Plan(sessions=2, points=4, noise=False)
ROWS = 14


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return simulate(PLAN).write(tmp_path)


def told(job: Path) -> list[Problem]:
    with pytest.raises(JobError) as caught:
        check_job(job)
    return list(caught.value.problems)


def words(problem: Problem) -> str:
    return f"{problem.what} {problem.fix}"


def in_cells(job: Path, column: str, change: Callable[[str], str]) -> None:
    def changed(row: Row) -> Row:
        return {**row, column: change(row[column])}

    rewrite_export(job.parent / "rover001.csv", changed)


# Rows that cannot be used


@pytest.mark.parametrize(
    ("column", "change", "pieces"),
    [
        ("Sol", lambda _: "RTK Fixed", ['"RTK Fixed"', "accepted: fix", 'solutions = ["fix", "RTK Fixed"]']),
        ("Sol", lambda _: "float", ['"float"', "only fixed solutions"]),
        ("Lat", lambda _: "43 42 00.1 S", ['"43 42 00.1 S"', 'angles = "dms"']),
        ("Lon", lambda cell: f"{cell}N", ["hemisphere letter"]),
        ("EllHt", lambda cell: f"1 {cell.split('.')[0]}", ["between thousands"]),
        ("EllHt", lambda cell: f"{cell} ft", ["a unit"]),
        ("EllHt", lambda _: "", ["no height", "map the column"]),
        ("Observed", lambda _: "", ["no time"]),
        ("sU", lambda _: "9", []),
    ],
)
def test_rows_all_held_back_for_one_reason(
    column: str, change: Callable[[str], str], pieces: list[str], job: Path
) -> None:
    """The reason, an example row with what it holds, how many there are, and what to write."""
    if column == "sU":
        replace_in(job, {"max_sigma_horizontal = 0.05": "max_sigma_horizontal = 0.05\nmax_sigma_vertical = 0.1"})
        pieces = ["vertical standard uncertainty 9 over the limit of 0.1", "[quality]"]
    in_cells(job, column, change)
    problems = told(job)
    (whole,) = [problem for problem in problems if "no reading of the job" in problem.what]
    assert f"{ROWS} " in whole.what and "rover001.csv:2" in whole.what
    for piece in pieces:
        assert piece in words(whole)
    ties = [problem for problem in problems if problem.what.startswith("tie of session")]
    assert ties
    for piece in pieces[:1]:
        assert all(piece in words(tie) for tie in ties)


@pytest.mark.parametrize(
    ("said", "offered"),
    [
        (("WAHR", "FALSCH"), 'solutions = ["fix", "WAHR"]'),
        (("да", "нет"), 'solutions = ["fix", "да"]'),
        (("Y", "N"), 'solutions = ["fix", "Y"]'),
        (("1", "0"), 'solutions = ["fix", "1"]'),
        (("lidhur", "lire"), 'of "lidhur", "lire" add to solutions'),
        (("RTK Fixed", "Fixed"), 'solutions = ["fix", "Fixed", "RTK Fixed"]'),
    ],
)
def test_no_word_for_no_and_no_whole_list_of_unknown_words_is_offered_as_fixed(
    said: tuple[str, str], offered: str, job: Path
) -> None:
    """Pasted, it would accept float solutions with the fixed ones."""
    every = itertools.cycle((said[0], said[0], said[1]))
    in_cells(job, "Sol", lambda _: next(every))
    (whole,) = [problem for problem in told(job) if "no reading of the job" in problem.what]
    assert offered in words(whole)


def test_one_row_of_a_tie_that_cannot_be_taken_apart(job: Path) -> None:
    export = job.parent / "rover001.csv"
    lines = export.read_text().splitlines()
    lines[1] = lines[1].replace(",322.", ",322,", 1) if ",322." in lines[1] else lines[1] + ",x"
    export.write_text("\n".join(lines) + "\n")
    (problem,) = told(job)
    assert "S01-T1" in problem.what and "rover001.csv:2: 12 cells where the header names 11" in problem.what


def test_a_tie_misspelled_is_near_a_point_of_the_export(job: Path) -> None:
    replace_in(job, {'point = "S01-T1"': 'point = "S01-TI"'})
    (problem,) = told(job)
    assert "did you mean S01-T1?" in problem.fix
    replace_in(job, {'point = "S01-TI"': 'point = "pillar by the gate"'})
    (problem,) = told(job)
    assert "did you mean" not in problem.fix and "S01-C1" in problem.fix


@pytest.mark.parametrize(("written", "meant"), [("s01 t1", "S01-T1"), ("S01-TI", "S01-T1"), ("S01-T11", "S01-T1")])
def test_a_tie_misspelled_is_found_among_many_names(tmp_path: Path, written: str, meant: str) -> None:
    """More names than are looked at closely, many of them of the same length and figures."""
    path = simulate(Plan(sessions=1, points=400, noise=False)).write(tmp_path)
    replace_in(path, {'point = "S01-T1"': f'point = "{written}"'})
    (problem,) = told(path)
    assert f"did you mean {meant}" in problem.fix


def test_a_mark_that_is_not_in_the_register(job: Path) -> None:
    """Another number is another mark: nothing is suggested, the marks that there are are listed."""
    replace_in(job, {'point = "S01-T1", mark = "CM1"': 'point = "S01-T1", mark = "CM9"'})
    (problem,) = told(job)
    assert "did you mean" not in problem.fix and "CM1, CM2, CM3, CM4" in problem.fix


def test_a_named_check_that_is_held_back_is_told(job: Path) -> None:
    """It stops nothing, but it proves nothing: said by the check and in the record."""
    replace_in(job.parent / "rover001.csv", {"fix,CHK": "float,CHK"})
    warned = [line for line in check_job(job).warnings if "proves nothing" in line]
    assert len(warned) == 4 and '"float"' in warned[0] and "rover001.csv:3" in warned[0]
    assert sum("proves nothing" in note for note in run_job(job, dry_run=True).record["notes"]) == 4


def test_coordinates_with_the_number_of_their_zone(tmp_path: Path) -> None:
    """Eastings with 59 before them, in a CRS that has none: UTM zone 59 south, as EPSG has it."""
    job = simulate(PLAN).write(tmp_path)
    replace_in(job, {'crs = "EPSG:4959"': 'crs = "EPSG:2193"', 'latitude = "Lat"': 'northing = "Lat"'})
    replace_in(job, {'longitude = "Lon"': 'easting = "Lon"'})
    in_cells(job, "Lon", lambda _: "59512345.67")
    in_cells(job, "Lat", lambda _: "5160804.1")
    problems = told(job)
    assert any("zone 59 and the easting 512345.670" in problem.what for problem in problems), problems


# Files laid out otherwise


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "Export of the day\n# by rover 1\n\n" + text,
        lambda text: "sep=;\n" + text.replace(",", ";"),
        lambda text: text.replace(",", "\t"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace(",-43.", ",\u221243."),
        lambda text: text.replace("EllHt", "\u00a0EllHt  "),
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\nS02", "\n\n  \nS02"),
    ],
)
def test_layouts_of_an_export_that_are_read(change: Callable[[str], str], job: Path) -> None:
    """A title, comments, sep=;, tabs, line ends, a typeset minus, hard blanks: none can be taken otherwise."""
    export = job.parent / "rover001.csv"
    export.write_bytes(change(export.read_text()).encode())
    assert sum(check_job(job).survey.first_pass.rows) == ROWS
    assert check_job(job).survey.first_pass.unusable == ()


@pytest.mark.parametrize("form", ["NFC", "NFD"])
def test_a_heading_in_another_unicode_form(form: str, job: Path) -> None:
    other = {"NFC": "NFD", "NFD": "NFC"}[form]
    replace_in(job.parent / "rover001.csv", {"EllHt": unicodedata.normalize(other, "Höhe über Ellipsoid")})
    replace_in(job, {'"EllHt"': f'"{unicodedata.normalize(form, "Höhe über Ellipsoid")}"'})
    assert check_job(job).survey.first_pass.unusable == ()


def test_a_heading_in_another_case_is_only_suggested(job: Path) -> None:
    replace_in(job, {'"EllHt"': '"ELLHT"'})
    (problem,) = told(job)
    assert 'nearest: "EllHt"' in problem.fix


def test_a_header_that_is_missing_or_below_rows(job: Path) -> None:
    export = job.parent / "rover001.csv"
    header, *rows = export.read_text().splitlines()
    export.write_text("\n".join(rows) + "\n")
    (problem,) = told(job)
    assert problem.line == 1 and "no header" in problem.what
    export.write_text("\n".join([*rows[:3], header, *rows[3:]]) + "\n")
    (problem,) = told(job)
    assert problem.line == 4 and "may be rows" in problem.what


def test_a_header_that_comes_again(job: Path) -> None:
    export = job.parent / "rover001.csv"
    header, *rows = export.read_text().splitlines()
    export.write_text("\n".join([header, *rows[:4], header, *rows[4:]]) + "\n")
    (header,) = check_job(job).survey.first_pass.unusable
    assert (header.count, header.row) == (1, 6) and "are repeated here" in header.why


def test_decimal_commas_in_one_column(job: Path) -> None:
    export = job.parent / "rover001.csv"
    export.write_text(export.read_text().replace(",", ";"))
    rewritten = [line.split(";") for line in export.read_text().splitlines()]
    for cells in rewritten[1:]:
        cells[4] = cells[4].replace(".", ",")
    export.write_text("\n".join(";".join(cells) for cells in rewritten) + "\n")
    (problem,) = told(job)
    assert '"EllHt"' in problem.what and "decimal comma" in problem.what and "same decimal sign" in problem.fix


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "Marks of the site\n# revised\n" + text,
        lambda text: "sep=;\n" + text.replace(",", ";").replace(".", ","),
        lambda text: text.replace(",", "\t"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.replace("easting", "\u00a0Easting "),
        lambda text: text.replace(",", "|"),
    ],
)
def test_layouts_of_a_register_that_are_read(change: Callable[[str], str], job: Path) -> None:
    register = job.parent / "register.csv"
    before = check_job(job).survey.register
    register.write_bytes(change(register.read_text()).encode())
    after = check_job(job).survey.register
    assert before is not None and after is not None
    assert (after.names, after.first.tolist(), after.third.tolist()) == (
        before.names, before.first.tolist(), before.third.tolist(),
    )  # fmt: skip


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_encodings_of_a_register_that_say_so(encoding: str, job: Path) -> None:
    register = job.parent / "register.csv"
    register.write_bytes(register.read_text().encode(encoding))
    assert check_job(job).survey.register is not None


@pytest.mark.parametrize(
    ("change", "line", "piece"),
    [
        (lambda text: text.split("\n", 1)[1], 1, "has no header"),
        (lambda text: text + "# CM9,1,2,3,,\n", 6, "a remark, or a mark"),
        (lambda text: text + "4 marks,,,,,\n", 6, "if it is not a mark"),
        (lambda text: text.replace("1507336.17818", "1 507 336"), 2, "between thousands"),
        (lambda text: text.replace("310.00000", "1017 ft"), 2, "a unit"),
        (
            lambda text: text.replace(",", ";").replace(".", ",").replace("310,00000", "5.310"),
            2,
            "is ambiguous (5310 or 5",
        ),
        (lambda text: text.replace("mark,", "point,"), 1, "'mark' is missing"),
    ],
)
def test_what_is_said_of_a_register(change: Callable[[str], str], line: int, piece: str, job: Path) -> None:
    register = job.parent / "register.csv"
    register.write_text(change(register.read_text()))
    problems = told(job)
    assert all(problem.file == str(register) for problem in problems), problems
    assert any(problem.line == line and piece in words(problem) for problem in problems), problems


# Keys and codes


@pytest.mark.parametrize(
    ("right", "wrong", "piece", "never"),
    [
        ('folder = "out"', 'folder = "out"\nclient = "x"', "no such key; [job] takes name, folder", "nearest"),
        ('folder = "out"', 'folder = "out"\ntime_zone = "UTC"', "belongs in [source]", "nearest"),
        ('crs = "EPSG:4959"', 'crs = "WGS84"', '"EPSG:4979"', "nearest"),
        ('grid = "EPSG:2193"', 'grid = "UTM 59S"', '"EPSG:32759"', "nearest"),
        ('grid = "EPSG:2193"', 'grid = "2193"', '"EPSG:2193"', "nearest"),
        ('height = "EPSG:5773"\ngeoid', 'height = "EGM96"\ngeoid', "EPSG:5773 (EGM96 height)", "nearest"),
        ('time_zone = "UTC"', 'time_zone = "CEST"', '"Europe/Vienna"', "'EST'"),
        ('file = "register.csv"', 'file = "marks\\\\register.csv"', "write / between folders", "nearest"),
        ('file = "register.csv"', 'file = "C:\\marks\\register.csv"', "write / between folders", "nearest"),
        ('folder = "out"', "folder = “out”", "straight quotes", "nearest"),
    ],
)
def test_what_to_write(right: str, wrong: str, piece: str, never: str, job: Path) -> None:
    replace_in(job, {right: wrong})
    problems = told(job)
    assert any(piece in words(problem) for problem in problems), problems
    assert not any(never in words(problem) for problem in problems)


def test_a_zone_whose_sign_is_reversed_is_told(job: Path) -> None:
    """It is read as the time zone database has it, and said by `check`."""
    replace_in(job, {'time_zone = "UTC"': 'time_zone = "Etc/GMT-2"'})
    assert any('"Etc/GMT-2" is ahead of UTC: it means +02:00' in line for line in check_job(job).warnings)
