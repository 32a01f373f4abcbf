"""How a drawing is plotted: texts from the plot's scale, layers and colours per code, control and its occupations."""

import re
import shutil
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyarrow as pa
import pytest
from every import every
from ezdxf.colors import aci2rgb
from format_layers import ABOUT, DATA_TO, hostile, package, points

from pipeline.geodesy.axes import Axes, Axis
from pipeline.issue.file_facts import CodeDrawn, Drafting, FileFacts
from pipeline.issue.formats.dxf_colours import CALM, Beside, colours_of
from pipeline.issue.formats.dxf_layers import MARKS as ON_MARKS
from pipeline.issue.formats.dxf_layers import OWN
from pipeline.issue.formats.dxf_rows import Drawn
from pipeline.issue.formats.dxf_symbols import MARK, Tags
from pipeline.issue.formats.formats import FORMATS, hold_to, write_formats
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.issue.geopackage.layers import CHECK_MARKS, MARKS, points_schema
from pipeline.issue.geopackage.readback import ReadBackError
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.replace import replace

WARNING = {1, 30, 50}


def plotted(scale: float = 500.0, height: float = 1.8, codes: Mapping[str, CodeDrawn] | None = None) -> FileFacts:
    return replace(ABOUT, drafting=Drafting(scale, height, codes or {}))


def drawn(folder: Path, found: Package, about: FileFacts = ABOUT) -> Any:
    """The drawing of a package, opened by ezdxf, which finds nothing wrong with it."""
    write_formats(["dxf"], found, about)
    drawing = ezdxf.readfile(found.path.with_suffix(".dxf"))
    audit = drawing.audit()
    assert not audit.errors and not audit.fixes
    return drawing


def of_codes(folder: Path, codes: Sequence[str | None], about: FileFacts = ABOUT, word: str = "bracketed") -> Any:
    folder.mkdir(exist_ok=True)
    names = [str(row) for row in range(len(codes))]
    return drawn(folder, package(folder, points(names, codes, [word] * len(codes)), plain=True), about)


def layer_of(drawing: Any, code: str) -> str:
    """The layer of the symbol at a code's point."""
    inserts = drawing.modelspace().query("INSERT")
    return str(next(e.dxf.layer for e in inserts if e.get_attrib_text("CODE") == code))


def table(layer: pa.Schema, **columns: Sequence[Any]) -> pa.RecordBatch:
    count = len(next(iter(columns.values())))
    arrays = [pa.array(columns[f.name], f.type) if f.name in columns else pa.nulls(count, f.type) for f in layer]
    return pa.record_batch(arrays, schema=layer)


def on_marks(folder: Path, checks: pa.RecordBatch, marks: pa.RecordBatch) -> Package:
    layers = [
        LayerSource("points", points_schema(), []),
        LayerSource("check_marks", CHECK_MARKS, [checks]),
        LayerSource("marks", MARKS, [marks]),
    ]
    path = folder / f"{ABOUT.title}.gpkg"
    written = write_geopackage(path, layers, Georeference("EPSG:2193"), DATA_TO)
    return Package(path, {layer.name: layer.rows for layer in written})


# Texts


@pytest.mark.parametrize(
    ("scale", "height", "metres"),
    [(500, 1.8, 0.9), (200, 2.5, 0.5), (1000, 1.8, 1.8), (2500, 3.5, 8.75)],
)
def test_texts_are_as_high_on_paper_as_the_job_says(tmp_path: Path, scale: float, height: float, metres: float) -> None:
    """Millimetres on paper times the scale, closed form; symbols go with them."""
    drawing = of_codes(tmp_path, ["A", "B"], plotted(scale, height))
    insertions = drawing.modelspace().query("INSERT")
    (found,) = {a.dxf.height for e in insertions for a in e.attribs}
    assert found == pytest.approx(metres, rel=1e-12)
    (ring,) = drawing.blocks.get("tiedown_point").query("CIRCLE")
    assert 0.1 < ring.dxf.radius / metres < 0.5
    assert f"1:{scale}" in dict(drawing.header.custom_vars.properties)["plot"]


def test_texts_of_a_grid_in_feet_are_as_high_on_paper(tmp_path: Path) -> None:
    """The international foot is 0.3048 m by definition: 0.9 m are 2.9528 feet."""
    axes = Axes(Axis("foot", 0.3048, "east"), Axis("foot", 0.3048, "north"), Axis("foot", 0.3048, "up"))
    drawing = of_codes(tmp_path, ["A"], replace(ABOUT, axes=axes))
    (height,) = {a.dxf.height for e in drawing.modelspace().query("INSERT") for a in e.attribs}
    assert height == pytest.approx(2.952756, abs=1e-6)


def test_texts_stay_as_they_are_when_points_come(tmp_path: Path) -> None:
    """A crowd of points a centimetre apart changes nothing: a drafter's plot looks alike in every issue."""
    heights = []
    for number, count in enumerate((1, 3, 400)):
        drawing = of_codes(tmp_path / str(number), ["A"] * count)
        heights.append({a.dxf.height for e in drawing.modelspace().query("INSERT") for a in e.attribs})
    assert heights == [{0.9}] * 3


@pytest.mark.parametrize(("foot", "units"), [(0.3048, 2), (1200 / 3937, 21)])
def test_line_types_and_hatches_of_a_grid_in_feet_are_those_for_feet(tmp_path: Path, foot: float, units: int) -> None:
    """Numbers of the DXF reference's header: $INSUNITS 2 feet, 21 US survey feet; $MEASUREMENT 0 English, 1 metric."""
    axes = Axes(Axis("foot", foot, "east"), Axis("foot", foot, "north"), Axis("foot", foot, "up"))
    header = of_codes(tmp_path, ["A"], replace(ABOUT, axes=axes)).header
    assert (header["$INSUNITS"], header["$MEASUREMENT"]) == (units, 0)
    header = of_codes(tmp_path / "metres", ["A"]).header
    assert (header["$INSUNITS"], header["$MEASUREMENT"]) == (6, 1)


# Layers


def test_number_height_and_code_can_each_be_turned_off(tmp_path: Path) -> None:
    drawing = of_codes(tmp_path, ["FENCE"])
    (insertion,) = drawing.modelspace().query("INSERT")
    on = {a.dxf.tag: a.dxf.layer for a in insertion.attribs}
    assert insertion.dxf.layer == "FENCE"
    assert on == {"NAME": "FENCE_number", "HEIGHT": "FENCE_height", "CODE": "FENCE_code"}
    assert set(on.values()) <= {layer.dxf.name for layer in drawing.layers}
    assert not any(a.is_invisible for a in insertion.attribs)


def test_the_proof_word_cannot_be_turned_off_apart_from_the_symbol(tmp_path: Path) -> None:
    drawing = of_codes(tmp_path, ["FENCE"], word="suspect")
    (insertion,) = drawing.modelspace().query("INSERT")
    on = {a.dxf.tag: a.dxf.layer for a in insertion.attribs}
    assert insertion.dxf.layer == on["PROOF"] == "FENCE_suspect" and on["NAME"] == "FENCE_suspect_number"


def test_no_two_codes_share_a_layer_of_any_kind(tmp_path: Path) -> None:
    """Also a code that is called like another's texts, or like another's points that are not proven."""
    codes = ["FENCE", "fence", "FENCE_height", "FENCE_suspect", "a/b", "a:b", "a_b", "marks", "note", "0", None]
    found = package(tmp_path, points([str(n) for n in range(22)], [*codes, *codes], ["bracketed", "suspect"] * 11))
    by_layer: dict[str, set[tuple[str, str]]] = {}
    for insertion in drawn(tmp_path, found).modelspace().query("INSERT"):
        if insertion.dxf.name in ("tiedown_point", "tiedown_suspect"):
            code = (insertion.get_attrib_text("CODE"), insertion.get_attrib_text("PROOF"))
            for layer in {insertion.dxf.layer, *(a.dxf.layer for a in insertion.attribs)}:
                by_layer.setdefault(layer.casefold(), set()).add(code)
    assert {len(codes) for codes in by_layer.values()} == {1}
    assert not by_layer.keys() & {"marks", "note", "0", "check_marks", "marks_number"}


def test_a_codes_layer_has_the_same_name_whatever_else_is_there(tmp_path: Path) -> None:
    """Of two that would have the same name one keeps it; the other's hangs on its code alone, not on their number."""
    few, many = ["a_b", "a/b", "Fence"], ["Zaun", "a:b", "a*b", "a_b", "a/b", "Fence", "A", "b"]
    one, other = (of_codes(tmp_path / name, codes) for name, codes in (("few", few), ("many", many)))
    for code in every(few):
        assert layer_of(one, code) == layer_of(other, code)
    assert layer_of(one, "a_b") == "a_b" and re.fullmatch(r"a_b~[0-9a-f]{4}", layer_of(one, "a/b"))


def test_the_job_may_name_layer_and_colour(tmp_path: Path) -> None:
    """Two codes on one layer share its colour; what is not proven keeps the word and the warning's colour."""
    codes = {"F1": CodeDrawn("V-FENC", 94), "F2": CodeDrawn("v-fenc"), "T": CodeDrawn(colour=210)}
    about = plotted(codes=codes)
    found = package(tmp_path, points(list("abcde"), ["F1", "F2", "T", "V-FENC", "F1"], ["bracketed"] * 4 + ["suspect"]))
    drawing = drawn(tmp_path, found, about)
    assert [layer_of(drawing, code) for code in ("F1", "F2", "T")] == ["V-FENC", "V-FENC", "T"]
    assert layer_of(drawing, "V-FENC").startswith("V-FENC~")
    colours = {layer.dxf.name: layer.dxf.color for layer in drawing.layers}
    assert (colours["V-FENC"], colours["V-FENC_number"], colours["T"]) == (94, 94, 210)
    assert colours["V-FENC_suspect"] == 1 and colours[layer_of(drawing, "V-FENC")] not in (94, 210)


# Colours


def test_no_two_of_thirty_codes_have_one_colour(tmp_path: Path) -> None:
    drawing = of_codes(tmp_path, [f"C{number}" for number in range(30)])
    colours = [drawing.layers.get(f"C{number}").dxf.color for number in range(30)]
    assert len(set(colours)) == 30 and not {*colours} & {*WARNING, 3, 7}
    assert len({tuple(aci2rgb(colour)) for colour in colours}) == 30  # ezdxf's table of what each index looks like


def test_a_code_that_comes_later_changes_no_colour() -> None:
    before = [f"C{number}" for number in range(12)]
    first = colours_of(before, {}, {})
    for late in ("A", "Z", "C00", "fence", None):
        then = colours_of([*before, late], {}, {})
        assert {code: then[code] for code in before} == first and then[late] not in first.values()


def test_a_code_that_goes_changes_no_colour_and_finds_its_own_when_it_comes_back() -> None:
    codes = [f"C{number:02d}" for number in range(20)]
    first = colours_of(codes, {}, {})
    for gone in every(codes):
        left = [code for code in reversed(codes) if code != gone]
        had = {code: first[code] for code in left}
        then = colours_of(["NEW", *left], {}, {}, had, first.values())
        assert {code: then[code] for code in left} == had and then["NEW"] not in first.values()
        assert colours_of([gone, *left], {}, {}, first, first.values()) == first


def test_the_jobs_own_colour_goes_before_what_a_code_had() -> None:
    """Whoever had the colour that the job now gives another code gets one of its own."""
    had = {"A": CALM[0], "B": CALM[1]}
    then = colours_of(["A", "B"], {"B": CodeDrawn(colour=CALM[0])}, {}, had, had.values())
    assert then["B"] == CALM[0] and then["A"] not in had.values()
    # codes on one layer share its colour, and a colour that warns is none of the rule's
    shared = colours_of(["A", "B"], {code: CodeDrawn(layer="V") for code in "AB"}, {}, had, had.values())
    assert set(shared.values()) == {CALM[0]}
    assert colours_of(["A"], {}, {}, {"A": 1}, [1])["A"] in CALM


def test_of_more_codes_than_colours_neighbours_differ(tmp_path: Path) -> None:
    """300 codes in strips beside one another: the next strip, and the next in the list, has another colour."""
    count = 300
    codes = [f"C{number:03d}" for number in np.random.default_rng(5).permutation(count)]
    east = np.repeat(np.arange(count) * 20.0, 2)
    beside = Beside(codes, 0.9)
    places = np.column_stack([east + np.tile([0.0, 12.0], count), np.zeros((2 * count, 2))])
    beside.add(pa.array(np.repeat(codes, 2).tolist()), places)
    # the end of each strip and the next one's beginning are 8 m apart: within 10 texts of 0.9 m
    pairs = beside.pairs()
    colours = colours_of(codes, {}, pairs)
    assert sum(map(len, pairs.values())) > count
    assert all(colours[one] != colours[other] for one in every(codes) for other in pairs[one])
    listed = sorted(codes)
    assert all(colours[one] != colours[other] for one, other in every(pairwise(listed)))
    assert set(colours.values()) == set(CALM)


def test_a_drawing_of_many_codes_is_written_and_read_back(tmp_path: Path) -> None:
    """Points 7.9 m apart, each of a code of its own: the next point has another colour."""
    drawing = of_codes(tmp_path, [f"C{number}" for number in range(100)])
    colours = [drawing.layers.get(f"C{number}").dxf.color for number in range(100)]
    assert all(one != other for one, other in every(pairwise(colours)))


# Marks


def occupations(count: int, failing: Sequence[int] = ()) -> pa.RecordBatch:
    """Occupations of one mark by checks, some of them failing."""
    rows = np.arange(count)
    return table(
        CHECK_MARKS,
        mark=["CM1"] * count,
        point=[f"CM1-{row}" for row in rows],
        role=["check"] * count,
        passed=[row not in failing for row in rows],
        d_east=[-0.0002] * count,
        d_north=[-0.00049] * count,
        d_height=[0.0004] * count,
        easting=1_600_010.0 + rows * 1e-3,
        northing=[5_400_020.0] * count,
        height=[3.0] * count,
        known_easting=[1_600_010.25] * count,
        known_northing=[5_400_020.5] * count,
        known_height=[3.125] * count,
    )


NO_MARKS = table(MARKS, mark=pa.array([], pa.string()))


@pytest.mark.parametrize(("count", "failing"), [(1, ()), (3, (1,)), (4, ()), (20, (11, 17)), (9, range(9))])
def test_few_texts_stand_beside_a_mark_and_all_in_the_list(tmp_path: Path, count: int, failing: Sequence[int]) -> None:
    """Those that failed are shown first of all; every symbol is drawn."""
    drawing = drawn(tmp_path, on_marks(tmp_path, occupations(count, failing), NO_MARKS))
    found = drawing.modelspace().query('INSERT[name=="tiedown_check"]')
    assert len(found) == count
    shown = [e for e in found if any(not a.is_invisible for a in e.attribs)]
    assert len(shown) == min(count, 3)
    failed = [e for e in shown if e.dxf.layer == "check_marks_failed"]
    assert len(failed) == min(len(failing), 3)
    heights = sorted({round(e.get_attrib("NAME").dxf.align_point.y, 6) for e in shown})
    assert len(heights) == len(shown)  # one below the other
    lists = [e.plain_text() for e in drawing.modelspace().query('MTEXT[layer=="check_marks_list"]')]
    assert len(lists) == (count > 3)
    assert all(f"CM1-{row}: " in lists[0] for row in range(count) if lists)
    more = [e.get_attrib_text("MORE") for e in shown]
    assert [text for text in more if text] == ([f"and {count - 3} more occupation{'s' * (count > 4)}: see "
                                               "check_marks_list"] if count > 3 else [])  # fmt: skip


def test_nothing_is_minus_zero(tmp_path: Path) -> None:
    """Differences of some tenths of a millimetre, either way."""
    found = on_marks(tmp_path, occupations(1), NO_MARKS)
    drawing = drawn(tmp_path, found)
    (check,) = drawing.modelspace().query('INSERT[name=="tiedown_check"]')
    assert check.get_attrib_text("DIFFERENCE") == "dE +0.000 dN +0.000 dH +0.000 passed"
    assert "-0.000" not in found.path.with_suffix(".dxf").read_text(encoding="utf-8").replace("-0.0005", "")


def test_a_check_mark_is_drawn_as_control_where_it_is_published(tmp_path: Path) -> None:
    """Once, whatever number of checks stood on it; a mark of the adjustment only where that has it."""
    checks = pa.Table.from_batches([occupations(2), occupations(2)]).combine_chunks()
    marks = table(MARKS, mark=["TM1"], easting=[1.0], northing=[2.0], height=[None], status=["adjusted"])
    drawing = drawn(tmp_path, on_marks(tmp_path, checks.to_batches()[0], marks))
    control = [e for e in drawing.modelspace().query("INSERT") if e.dxf.name == "tiedown_mark"]
    assert [(e.get_attrib_text("NAME"), e.dxf.layer) for e in control] == [("CM1", "marks"), ("TM1", "marks")]
    assert list(control[0].dxf.insert) == [1_600_010.25, 5_400_020.5, 3.125]
    assert control[0].get_attrib_text("HEIGHT") == "3.125"


def test_a_mark_that_the_adjustment_moved_says_which_coordinates_are_drawn(tmp_path: Path) -> None:
    """One place for it in each format, and both numbers to be read; where they agree nothing is said."""
    published = {"published_easting": [1_600_010.25], "published_northing": [5_400_020.5], "published_height": [3.125]}
    marks = table(MARKS, mark=["CM1"], easting=[1_600_010.2512], northing=[5_400_020.5], height=[3.1249],
                  holds=["3d"], status=["constrained"], **published)  # fmt: skip
    found = on_marks(tmp_path, occupations(1), marks)
    drawing = drawn(tmp_path, found)
    assert len([e for e in drawing.modelspace().query("INSERT") if e.dxf.name == "tiedown_mark"]) == 1
    (said,) = [e.plain_text() for e in drawing.modelspace().query('MTEXT[layer=="check_marks_list"]')]
    write_formats(["landxml"], found, ABOUT)
    xml = found.path.with_suffix(".xml").read_text(encoding="utf-8")
    for text in (" ".join(said.split()), xml):
        assert "drawn at its adjusted position" in text
        assert "published: easting 1600010.2500, northing 5400020.5000, height 3.1250" in text
    agreed = table(MARKS, mark=["CM1"], easting=[1_600_010.25], northing=[5_400_020.5], height=[None], status=["x"],
                   **published)  # fmt: skip
    (tmp_path / "same").mkdir()
    same = on_marks(tmp_path / "same", occupations(1), agreed)
    assert not drawn(tmp_path, same).modelspace().query('MTEXT[layer=="check_marks_list"]')


# Reading back


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """A package and its drawing."""
    found = package(tmp_path_factory.mktemp("whole"), hostile(), points(["x"], ["plain"], ["bracketed"]))
    write_formats(["dxf"], found, ABOUT)
    return found


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("\n  8\nplain_number\n", "\n  8\nplain_height\n", "NAME"),
        ("\n 40\n0.9\n  1\nplain\n", "\n 40\n0.7\n  1\nplain\n", "height 0.7"),
        ("issue: made-007", "issue: made-008", "note"),
        ("\n  2\nnote\n 70\n0\n 62\n7\n", "\n  2\nnote\n 70\n0\n 62\n6\n", "note has colour 6"),
    ],
)
def test_layers_texts_and_colours_are_read_back(whole: Package, tmp_path: Path, old: str, new: str, says: str) -> None:
    shutil.copytree(whole.path.parent, tmp_path, dirs_exist_ok=True)
    found = Package(tmp_path / whole.path.name, whole.rows)
    path = found.path.with_suffix(".dxf")
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(ReadBackError, match=says):
        hold_to(FORMATS["dxf"], found, ABOUT)


def test_handles_count_on_in_hexadecimal_beyond_four_digits() -> None:
    rows, tags = 9, Tags("1F", 1.0, 0xFFF0)
    texts = [pa.array([text] * rows) for text in ("CM1", "1.000", "published")]
    drawn = Drawn([(MARK, OWN[ON_MARKS])], np.zeros(rows, np.int64), np.zeros((rows, 3)), texts, np.zeros(rows))
    handles = re.findall(r"\n  5\n(.*)", bytes(drawn.lines(tags)).decode())
    assert handles == [f"{number:X}" for number in range(0xFFF0, 0xFFF0 + 5 * rows)]
