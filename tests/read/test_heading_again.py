"""A heading that comes again within an export: the same one is no reading, any other stops the job at its line."""

import openpyxl
import pytest
from exports_made import COLUMNS, GOOD, HEADER, block, find, problems_of, text_table

from pipeline.words import Reason, reason_code

SWAPPED = HEADER.replace("Lat,Lon", "Lon,Lat")
TURNED = "P1,2026-03-02T07:30:00Z,174.7,-36.8,12.5,0.01,0.02,0.03,fix,KERB,BASE-A"


@pytest.mark.parametrize("again", [HEADER, HEADER.upper(), HEADER.replace(",", " , ")])
def test_the_same_heading_again_is_held_as_no_reading(tmp_path, again):
    table = text_table(tmp_path, f"{HEADER}\n{GOOD}\n{again}\n{GOOD}\n")
    assert table["held"].to_pylist() == [0, reason_code(Reason.UNREADABLE), 0]


@pytest.mark.parametrize(
    "again, says",
    [
        (
            SWAPPED,
            '"Lon" is in column 3, which is read as latitude under the name "Lat", which is in column 4 here',
        ),
        (
            HEADER.replace("EllHt", "EllHt [ft]"),
            '"EllHt [ft]" is in column 5, which is read as height under the name "EllHt"',
        ),
        (HEADER.replace("EllHt", "Elevation"), '"Elevation" is in column 5'),
        (HEADER.replace("sE", ""), "there is no name in column 6"),
        (HEADER.replace("Point", "Code").replace("KERB", "Point"), '"Code" is in column 1, which is read as name'),
        ("Punkt,Zeit,Breite,Länge,Höhe,mO,mN,mH,Art,Objekt,Basis", '"Punkt" is in column 1'),
        (SWAPPED.replace("Observed,", ""), "10 cells where the header names 11"),
        (f"{SWAPPED},Remark", "12 cells where the header names 11"),
    ],
)
def test_another_heading_above_rows_stops_the_job(tmp_path, again, says):
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER}\n{GOOD}\n{again}\n{TURNED}\n")
    assert "a.csv:3" in problem and "not as above" in problem and says in problem and "split the file" in problem


def test_another_heading_with_nothing_below_it_is_held_alone(tmp_path):
    table = text_table(tmp_path, f"{HEADER}\n{GOOD}\n{SWAPPED}\n")
    assert table["held"].to_pylist() == [0, reason_code(Reason.UNREADABLE)]


@pytest.mark.parametrize(
    "row",
    [
        "P2,no fix,no fix,no fix,no fix,,,,none,KERB,BASE-A",
        "P2,2026-03-02T07:30:00Z,n/a,n/a,n/a,,,,none,Code,BASE-A",
        "Lat,2026-03-02T07:31:00Z,-36.8,174.7,12.5,0.01,0.02,0.03,fix,Lon,EllHt",
        "base moved to the north",
        "remark,,,,,,,,,Lat and Lon by hand,",
    ],
)
def test_rows_of_words_are_no_headings(tmp_path, row):
    assert problems_of(tmp_path, "a.csv", f"{HEADER}\n{GOOD}\n{row}\n{GOOD}\n") == []


def test_a_heading_in_two_languages_is_one(tmp_path):
    german = "Punkt,Zeit,Breite,Länge,Höhe,mO,mN,mH,Art,Objekt,Basis"
    assert problems_of(tmp_path, "a.csv", f"{HEADER}\n{german}\n{GOOD}\n") == []


def test_units_below_a_heading_that_comes_again(tmp_path):
    units = "-,-,deg,deg,{},{},{},{},-,-,-"
    metres, feet = (units.format(*[unit] * 4) for unit in ("m", "ft"))
    assert problems_of(tmp_path, "a.csv", f"{HEADER}\n{metres}\n{GOOD}\n{HEADER}\n{metres}\n{GOOD}\n") == []
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER}\n{metres}\n{GOOD}\n{HEADER}\n{feet}\n{GOOD}\n")
    assert "a.csv:5" in problem and "a different unit" in problem


@pytest.mark.parametrize("sign", ["#", "# "])
def test_a_heading_behind_the_sign_of_a_comment(tmp_path, sign):
    same = f"{sign}{HEADER}\n{GOOD}\n{sign}{HEADER}\n# {HEADER}: as exported\n{GOOD}\n"
    assert problems_of(tmp_path, "a.csv", same, comment="#") == []
    (problem,) = problems_of(tmp_path, "a.csv", f"{sign}{HEADER}\n{GOOD}\n{sign}{SWAPPED}\n{TURNED}\n", comment="#")
    assert "a.csv:3" in problem and '"Lon" is in column 3' in problem


def test_times_in_two_columns_and_weeks(tmp_path):
    columns = {"name": "N", "latitude": "Lat", "longitude": "Lon", "height": "H"}
    for times, row in (({"date": "Date", "time": "Time"}, "2026-03-02,07:30:00"),
                       ({"gps_week": "Week", "gps_seconds": "Sec"}, "2408,113400.0")):  # fmt: skip
        head = ",".join(["N", *times.values(), "Lat", "Lon", "H", "H2"])
        other = ",".join(["N", *times.values(), "Lat", "Lon", "H2", "H"])
        text = f"{head}\nP1,{row},-36.8,174.7,12.5,40.1\n{{}}\nP1,{row},-36.8,174.7,12.5,40.1\n"
        (tmp_path / "a.csv").write_text(text.format(head))
        assert find(tmp_path, block("a.csv", columns | times))[1] == []
        (tmp_path / "a.csv").write_text(text.format(other))
        (problem,) = find(tmp_path, block("a.csv", columns | times))[1]
        assert "a.csv:3" in problem and '"H2" is in column 6' in problem


def test_columns_by_their_numbers(tmp_path):
    by_place = {ours: place for place, ours in enumerate(COLUMNS, start=1)} | {"latitude": 3, "longitude": 4}
    by_place |= {"name": 1, "time": 2, "height": 5}
    for text, line in ((f"{HEADER}\n{GOOD}\n{SWAPPED}\n{TURNED}\n", 3),):
        (tmp_path / "a.csv").write_text(text)
        (problem,) = find(tmp_path, block("a.csv", by_place, header=0))[1]
        assert f"a.csv:{line}" in problem and '"Lon" is in column 3' in problem


@pytest.mark.parametrize("again, count", [(HEADER, 0), (SWAPPED, 1)])
def test_in_a_sheet(tmp_path, again, count):
    book = openpyxl.Workbook()
    for line in (HEADER, GOOD, again, TURNED if count else GOOD):
        cells = line.split(",")
        book.active.append([float(cell) if cell.replace(".", "").lstrip("-").isdigit() else cell for cell in cells])
    book.save(tmp_path / "a.xlsx")
    problems = find(tmp_path, block("a.xlsx"))[1]
    assert len(problems) == count and all("a.xlsx:3" in problem for problem in problems)


def test_a_heading_far_down_in_a_large_file(tmp_path):
    """Beyond what a first look takes in, and with the rows of the second part in a batch of their own."""
    from pipeline.problems import JobError
    from pipeline.read.exports import read_batches

    rows = (GOOD + "\n") * 40_000
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{rows}{SWAPPED}\n{(TURNED + chr(10)) * 40_000}")
    (export,), problems = find(tmp_path, block("a.csv"))
    assert problems == []
    with pytest.raises(JobError) as error:
        list(read_batches(export))
    assert "a.csv:40002" in str(error.value.problems[0])
