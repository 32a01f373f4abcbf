"""Files without headings, with headings of further scripts, and with letters that only look like Latin ones."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from pipeline.new_job import new_job
from pipeline.new_job.headings import rank

MARKS = (
    "Mark,Easting,Northing,Ellipsoidal height\nKP1,564299.026,5338641.280,562.110\nKP2,565029.438,5338719.569,559.596\n"
)


def laid(folder: Path, head: str, rows: list[str], marks: str = MARKS) -> None:
    (folder / "marks.csv").write_text(marks, encoding="utf-8")
    (folder / "rover.csv").write_text("\n".join(filter(None, [head, *rows])) + "\n", encoding="utf-8")


def columns(folder: Path) -> dict[str, Any]:
    new_job(folder)
    (path,) = folder.glob("*.toml")
    block: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))["points"][0]["columns"]
    return block


@pytest.mark.parametrize(
    "head",
    [
        "წერტილი,კოდი,თარიღი,დრო,განედი,გრძედი,ელიფსოიდური სიმაღლე",
        "बिंदु,कोड,दिनांक,समय,अक्षांश,देशांतर,दीर्घवृत्तीय ऊँचाई",
        "ชื่อจุด,รหัส,วันที่,เวลา,ละติจูด,ลองจิจูด,ความสูงเหนือทรงรี",
        "نام نقطه,کد,تاریخ,زمان,عرض جغرافیایی,طول جغرافیایی,ارتفاع بیضوی",
    ],
)
def test_headings_of_further_scripts_are_known(head: str, tmp_path: Path) -> None:
    """In the order name, code, date, time, latitude, longitude, ellipsoidal height, as a dictionary has them."""
    names = head.split(",")
    rows = [f"P{at},KERB,14.03.2026,08:{at:02d}:00,48.1977530{at},9.8652699{at},56{at}.301" for at in range(1, 9)]
    laid(tmp_path, head, rows)
    found = columns(tmp_path)
    words = ("name", "code", "date", "time", "latitude", "longitude", "height")
    expected = dict(zip(words, names, strict=True))
    assert {word: found.get(word, name) for word, name in expected.items()} == expected
    assert expected.keys() - found.keys() <= {"height"}  # asked where its heading is not sure


def test_cyrillic_letters_stand_for_those_they_look_like(tmp_path: Path) -> None:
    """The Russian X is the northing: the marks beside the readings show it."""
    place = [(5338641.28, 564299.03, 566.3), (5338719.57, 565029.44, 563.8)]
    rows = [f"KP{at % 2 + 1},CHK,2026-03-14 08:{at:02d}:00," + "{},{},{}".format(*place[at % 2]) for at in range(6)]
    laid(tmp_path, "Name,Code,Time (UTC),Х,У,Н", rows)
    found = columns(tmp_path)
    assert (found["easting"], found["northing"], found["height"]) == ("У", "Х", "Н")


def test_the_columns_of_a_file_without_headings_go_by_their_numbers(tmp_path: Path) -> None:
    """The first row is a reading: what may be its position is asked after."""
    rows = [f"P{at},48.19775303{at},9.86526993{at},56{at}.301,KERB,14/03/2026,08:{at:02d}:00" for at in range(1, 8)]
    laid(tmp_path, "", rows)
    asked = {one.question.key for one in new_job(tmp_path).asked}
    (path,) = tmp_path.glob("*.toml")
    assert tomllib.loads(path.read_text(encoding="utf-8"))["points"][0]["header"] == 0
    assert any("latitude" in key or "northing" in key for key in asked)


def test_a_column_of_heights_goes_by_its_number_where_its_name_depends_on_the_code_page(tmp_path: Path) -> None:
    """In Lithuanian, code page 1257: what the first page makes of the name is in no file."""
    rows = [f"T{at};KERB;2026-03-14 08:{at:02d}:00;54,69775302{at};25,29454409{at};14{at},301" for at in range(1, 8)]
    head = "Taškas;Kodas;Data ir laikas;Platuma;Ilguma;Elipsoidinis aukštis"
    (tmp_path / "rover.csv").write_bytes(("\n".join([head, *rows]) + "\n").encode("cp1257"))
    marks = "Punktas;X;Y;Elipsoidinis aukštis\nKP1;6063139,956;583446,861;142,110\nKP2;6063223,604;584177,139;139,596\n"
    (tmp_path / "marks.csv").write_bytes(marks.encode("cp1257"))
    written = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    assert 'height = "ellipsoid"  # as the register\'s' in written
    assert "\nellipsoid_height = 4\n" in written


def test_lengths_of_poles_with_their_unit_in_the_cell_are_not_offered(tmp_path: Path) -> None:
    """No key reads "18.00 dm"; the question says what to do instead."""
    head = "Name,Time (UTC),Latitude,Longitude,Ellipsoidal height,Antenna height"
    rows = [
        f"P{at},2026-03-14 08:{at:02d}:00,48.1977530{at},9.8652699{at},56{at}.301,18.{at}0 dm" for at in range(1, 9)
    ]
    laid(tmp_path, head, rows)
    new_job(tmp_path)
    (path,) = tmp_path.glob("*.toml")
    text = path.read_text(encoding="utf-8").replace("\n#  ", " ")
    assert 'its cells, such as "18.10 dm", are not plain numbers' in text
    assert 'pole_height = "' not in text


@pytest.mark.parametrize(
    ("log", "role", "why"),
    [
        ("Basis;Antennenhöhe (m)\nB1;1,612\n", "neither", "seems to be a list of base set-ups"),
        (
            "Basis;Von (UTC);Bis (UTC);Antennenhöhe (m)\nB1;14.03.2026 07:40;14.03.2026 10:10;1,612\n",
            "sessions",
            'has when which base ran ("Basis", "Von (UTC)", "Bis (UTC)")',
        ),
    ],
)
def test_a_table_of_base_set_ups_is_not_told_to_be_renamed(log: str, role: str, why: str, tmp_path: Path) -> None:
    """With the times at which each base ran it is a list of sessions, whatever else it has."""
    rows = [f"P{at},2026-03-14 08:{at:02d}:00,48.1977530{at},9.8652699{at},56{at}.301" for at in range(1, 9)]
    laid(tmp_path, "Name,Time (UTC),Latitude,Longitude,Ellipsoidal height", rows)
    (tmp_path / "basis.csv").write_text(log, encoding="utf-8")
    ((found, told),) = [file[1:] for file in new_job(tmp_path).files if file[0] == "basis.csv"]
    assert found == role and why in told
    assert "rename" not in told


def test_coordinates_of_no_known_grid_are_told_so(tmp_path: Path) -> None:
    """Export and register alike: nothing in the folder says where on earth the job is."""
    marks = "Mark,Easting,Northing,Ellipsoidal height\nKP1,1000.0,5000.0,562.11\nKP2,1730.412,5078.289,559.596\n"
    rows = [f"P{at},2026-03-14 08:{at:02d}:00,10{at}8.893,50{at}0.687,56{at}.301" for at in range(1, 9)]
    laid(tmp_path, "Name,Time (UTC),Easting,Northing,Ellipsoidal height", rows, marks)
    new_job(tmp_path)
    (path,) = tmp_path.glob("*.toml")
    text = path.read_text(encoding="utf-8").replace("\n#  ", " ")
    assert "no file has longitudes and latitudes" in text
    assert "[target.site]" in text


@pytest.mark.parametrize("heading", ["Nama BM", "No. BM", "BM Name", "BM No.", "Titik Kontrol", "Benchmark"])
def test_headings_of_bench_marks_are_those_of_marks(heading: str) -> None:
    assert rank("mark", heading) is not None
