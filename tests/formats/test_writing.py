"""The files of the formats: the same bytes always, read back before they count, no half of one taken for whole."""

import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import ezdxf
import pytest
from format_layers import ABOUT, CARRIED, hostile, package, points
from warm import Warm

from pipeline.issue.formats.formats import FORMATS, hold_to, write_formats
from pipeline.issue.geopackage.layer_stream import Differs, Package
from pipeline.issue.geopackage.readback import ReadBackError
from pipeline.issue.geopackage.write_errors import NotWritten

SEARCH = [str(Path(__file__).parents[1] / "support"), str(Path(__file__).parents[2])]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """A GeoPackage and what it holds in every format."""
    found = package(tmp_path_factory.mktemp("written"), hostile())
    write_formats(list(FORMATS), found, ABOUT)
    return found


@pytest.fixture
def made(written: Package, tmp_path: Path) -> Package:
    """A copy of the GeoPackage alone."""
    return Package(Path(shutil.copy(written.path, tmp_path)), written.rows)


@pytest.fixture
def spoilable(written: Package, tmp_path: Path) -> Package:
    """A copy of the GeoPackage with all that stands beside it."""
    shutil.copytree(written.path.parent, tmp_path, dirs_exist_ok=True)
    return Package(tmp_path / written.path.name, written.rows)


# The same bytes

ANOTHER_DAY = """
import datetime, sys, time
sys.path[:0] = {path!r}
from pipeline.run.lean import without_unused
without_unused()
import numpy, pyarrow, pyogrio  # what is compiled holds the clock by its own name
class Later(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls(2041, 7, 8, 9, 10, 11, tzinfo=tz)
datetime.datetime = Later
now = time.time
time.time = lambda: now() + 5e8
from pathlib import Path
from format_layers import ABOUT, hostile, package
from pipeline.issue.formats.formats import FORMATS, write_formats
write_formats(list(FORMATS), package(Path(sys.argv[1]), hostile()), ABOUT)
"""


@pytest.mark.parametrize("seed", ["0", "4242"])
def test_another_day_and_another_process_give_the_same_bytes(written: Package, tmp_path: Path, seed: str) -> None:
    """Years later by the clock, in another time zone, with another order of sets."""
    surroundings = {**os.environ, "PYTHONHASHSEED": seed, "TZ": "Asia/Tokyo", "LC_ALL": "C"}
    subprocess.run([sys.executable, "-c", ANOTHER_DAY.format(path=SEARCH), str(tmp_path)], check=True, env=surroundings)
    for form in FORMATS.values():
        path = written.path.with_suffix(form.ending)
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name


def test_no_file_bears_the_day_of_its_making_a_library_or_the_machine(written: Package) -> None:
    """Nor an identifier that would be another next time."""
    for form in FORMATS.values():
        content = written.path.with_suffix(form.ending).read_bytes()
        assert str(written.path.parent).encode() not in content
        assert f" {ezdxf.__version__}".encode() not in content and b"ezdxf @" not in content


def test_how_the_rows_were_batched_makes_no_difference(tmp_path: Path) -> None:
    """One batch or many, with a row more in between."""
    count = 1_000
    names = [f"P{row}" for row in range(count)]
    codes = [f"C{row % 7}" for row in range(count)]
    whole = points(names, codes, ["bracketed"] * count)
    contents = []
    for number, size in enumerate((count, 199)):
        folder = tmp_path / str(number)
        folder.mkdir()
        found = package(folder, *(whole.slice(start, size) for start in range(0, count, size)))
        write_formats(["dxf", "csv"], found, ABOUT)
        contents.append([found.path.with_suffix(ending).read_bytes() for ending in (".dxf", ".csv")])
    assert contents[0] == contents[1]


# Much and nothing


@pytest.mark.parametrize("plain", [False, True])
def test_no_points_at_all(tmp_path: Path, plain: bool) -> None:
    """Every format is written, valid and empty; the marks alone are drawn where there are any."""
    found = package(tmp_path, plain=plain)
    entries = write_formats(list(FORMATS), found, ABOUT)
    assert [entry["rows"]["points"] for entry in entries if "rows" in entry] == [0] * len(FORMATS)
    drawing = ezdxf.readfile(found.path.with_suffix(".dxf"))
    assert not drawing.audit().errors
    assert len(drawing.modelspace().query("INSERT")) == (0 if plain else 5)


def test_one_point(tmp_path: Path) -> None:
    """No extent. Texts are 1.8 mm high at 1:500, 0.9 m, whatever is drawn."""
    found = package(tmp_path, points(["P"], ["C"], ["bracketed"]), plain=True)
    write_formats(list(FORMATS), found, ABOUT)
    drawing = ezdxf.readfile(found.path.with_suffix(".dxf"))
    (view,) = drawing.viewports.get("*Active")
    assert view.dxf.height > 1
    assert {attribute.dxf.height for attribute in drawing.modelspace().query("INSERT").first.attribs} == {0.9}


def test_hundreds_of_codes_have_hundreds_of_layers(tmp_path: Path) -> None:
    codes = [f"CODE {row % 700}" for row in range(700)]
    found = package(tmp_path, points([str(row) for row in range(700)], codes, ["bracketed"] * 700))
    write_formats(["dxf"], found, ABOUT)
    drawing = ezdxf.readfile(found.path.with_suffix(".dxf"))
    assert {f"CODE {row}" for row in range(700)} <= {layer.dxf.name for layer in drawing.layers}


def test_a_codes_colour_stays_when_other_codes_come(tmp_path: Path) -> None:
    """From issue to issue a drafter finds a code in its colour."""
    colours = []
    for number, codes in enumerate((["ROAD", "FENCE"], ["ROAD", "ALDER", "FENCE", "BEECH"])):
        folder = tmp_path / str(number)
        folder.mkdir()
        found = package(folder, points(codes, codes, ["bracketed"] * len(codes)))
        write_formats(["dxf"], found, ABOUT)
        layers = ezdxf.readfile(found.path.with_suffix(".dxf")).layers
        colours.append((layers.get("ROAD").dxf.color, layers.get("FENCE").dxf.color))
    assert colours[0] == colours[1]


# Reading back


def spoil(old: bytes, new: bytes) -> Callable[[bytes], bytes]:
    def change(content: bytes) -> bytes:
        assert old in content
        return content.replace(old, new, 1)

    return change


SPOILT = [
    ("csv", spoil(b"1600007.1352", b"1600007.1353"), "row 2: easting"),
    ("csv", spoil(b"\r\nplain,", b"\r\nplane,"), "row 1: name"),
    ("csv", spoil(b",height,", b",hight,"), "columns"),
    ("csv", lambda content: content[: len(content) // 2], "row|ends|columns|CSV"),
    ("csv", lambda content: content + content.split(b"\r\n")[-2] + b"\r\n", "goes on|CSV|row"),
    ("geojson", spoil(b"1600007.1352", b"1600007.1354"), "row 2: easting"),
    ("geojson", spoil(b"[173.0000123457, -41.", b"[173.0000123457, -40."), "row 2 is at"),
    ("geojson", spoil(b'"name": "plain"', b'"name": "plane"'), "row 1: name"),
    ("geojson", lambda content: content[: len(content) // 2], "GDAL|ends"),
    ("landxml", spoil(b" 1600014.2704 ", b" 1600014.2705 "), "element"),
    ("landxml", spoil(b'"plain"', b'"plane"'), "element 1"),
    ("landxml", spoil(b"</CgPoint>", b"</CgPoints>"), "XML"),
    ("landxml", lambda content: content[: len(content) // 2], "XML"),
    ("dxf", spoil(b"\n 10\n1600007.1352\n", b"\n 10\n1600007.1353\n"), "row 2 is at"),
    ("dxf", spoil(b"\n  1\nplain\n", b"\n  1\nplane\n"), "row 1: BlockAttributes"),
    ("dxf", spoil(b"  0\nINSERT\n", b"  0\nPOINT\n"), "entities beside|ends|row"),
    ("dxf", spoil(b"\n  2\ntiedown_suspect\n 10\n", b"\n  2\ntiedown_point\n 10\n"), "BlockName"),
    ("dxf", lambda content: content[: len(content) // 2], "GDAL|ends|row"),
]


@pytest.mark.parametrize(("word", "change", "says"), SPOILT)
def test_a_file_that_does_not_hold_what_was_given_is_found(
    spoilable: Package, word: str, change: Callable[[bytes], bytes], says: str
) -> None:
    """One digit of one coordinate is enough."""
    form = FORMATS[word]
    path = spoilable.path.with_suffix(form.ending)
    path.write_bytes(change(path.read_bytes()))
    with pytest.raises(ReadBackError, match=says):
        hold_to(form, spoilable, ABOUT)


def test_a_file_beside_that_does_not_say_what_was_given_is_found(spoilable: Package) -> None:
    kinds = spoilable.path.with_suffix(".csvt")
    kinds.write_bytes(kinds.read_bytes().replace(b"Real", b"Date", 1))
    with pytest.raises(ReadBackError, match=r"the \.csvt beside it"):
        hold_to(FORMATS["csv"], spoilable, ABOUT)


def test_what_is_found_on_reading_back_stops_the_issue(made: Package, monkeypatch: pytest.MonkeyPatch) -> None:
    def differs(*_: object) -> None:
        raise Differs("row 3: name is 'a', given was 'b'")

    monkeypatch.setitem(FORMATS, "csv", type(FORMATS["csv"])(".csv", FORMATS["csv"].write, differs))
    with pytest.raises(ReadBackError, match=r"made-007\.csv does not hold what was written: row 3"):
        write_formats(["csv"], made, ABOUT)


# A full disk


@pytest.mark.parametrize("word", list(FORMATS))
@pytest.mark.parametrize("part", [0.001, 0.4, 0.999])
def test_a_full_disk_is_an_error(written: Package, made: Package, word: str, part: float) -> None:
    """At whatever size the file may grow no further."""
    ending = FORMATS[word].ending
    path, size = made.path.with_suffix(ending), written.path.with_suffix(ending).stat().st_size
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(size * part), before[1]))
    try:
        with pytest.raises(NotWritten, match=path.name):
            write_formats([word], made, ABOUT)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_file_is_never_written_over(made: Package) -> None:
    """An issue's files are written once."""
    write_formats(["csv"], made, ABOUT)
    with pytest.raises(NotWritten):
        write_formats(["csv"], made, ABOUT)


# Memory

STREAM = """
import resource, sys
sys.path[:0] = {path!r}
from pathlib import Path
from format_layers import ABOUT
from pipeline.issue.formats import csv_file
from pipeline.issue.formats.formats import write_formats
from pipeline.issue.geopackage import layer_stream as stream
stream.ROWS, csv_file._BLOCK = 500, 1 << 16
def run(path, rows):
    write_formats([sys.argv[1]], stream.Package(Path(path), {{"points": rows, "check_marks": 4, "marks": 3}}), ABOUT)
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
small, large = run(sys.argv[2], 2_000), run(sys.argv[3], 20_000)
print(large - small)
"""


@pytest.fixture(scope="module")
def few_and_many(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A GeoPackage with 2,000 points, and one with 20,000."""
    few, many = (tmp_path_factory.mktemp(name) for name in ("few", "many"))
    numbers = [str(row) for row in range(2_000)]
    batch = points(numbers, [number[-1] for number in numbers], ["bracketed"] * 2_000)
    return package(few, batch).path, package(many, *([batch] * 10)).path


@pytest.mark.parametrize(("word", "most"), [("dxf", 60), ("csv", 15), ("geojson", 30), ("landxml", 15)])
def test_memory_does_not_hold_the_rows(few_and_many: tuple[Path, Path], word: str, most: int) -> None:
    """In batches of 500 rows, 18,000 rows more, which as Python's objects take some 40 MB.

    Each in a process of its own that is forked from a small one: a process that is started begins to count at the
    size of the one that starts it. GDAL holds the text of a GeoJSON while it reads it back, 0.9 kB a row; a drawing's
    memory grows up to some 20,000 rows, and no further.
    """
    assert word in FORMATS
    done = Warm(word, *few_and_many, code=STREAM.format(path=SEARCH)).end()
    assert done.returncode == 0, done.stderr.decode()
    assert float(done.stdout) < most


def test_the_columns_of_the_tests_need_care() -> None:
    """A quote, a comma and an equals sign in the names themselves."""
    assert {'Remark, "ours"', "=Depth", "id"} <= {field.name for field in CARRIED}
