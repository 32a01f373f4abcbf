"""What a layer or a column was once given to stays in it, whatever comes beside it later, or goes.

Readings of one day, whose codes and remarks say what they are; read back by SQLite and ezdxf alone.
"""

import csv
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import closing
from pathlib import Path

import ezdxf
import pytest
from every import every
from first_issue import run_once
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.issue.formats.dxf_layers import Key, point_layers
from pipeline.issue.former_names import column_names, layer_names
from pipeline.run.outcome import Outcome
from pipeline.verify import verify

#: The codes of six points: those of the first issue, and those that only an export brings which is sorted before.
FIRST, LATER = ("kerb", "A:B", "kerb_x"), ("KERB", "A/B", "kerb-x")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job whose export has all rows; `share` parts them."""
    made = simulate(Plan(sessions=1, points=6, noise=False))
    made.job["issue"] = {"formats": ["dxf"], "by_code": True}
    return made.write(tmp_path)


def rows_of(job: Path) -> tuple[list[str], list[dict[str, str]]]:
    with (job.parent / "rover001.csv").open(newline="") as file:
        read = csv.DictReader(file)
        rows = list(read)
    points = [row for row in rows if row["Code"] not in ("CM", "CHK")]
    for row, code in zip(points, (*FIRST, *LATER), strict=True):
        row["Code"] = code
    return list(read.fieldnames or ()), rows


def lay(path: Path, headings: list[str], rows: Iterable[dict[str, str]]) -> None:
    with path.open("w", newline="") as file:
        write = csv.DictWriter(file, headings)
        write.writeheader()
        write.writerows(rows)


def in_layers(outcome: Outcome) -> dict[str, set[str]]:
    """Return the codes in each layer of one code of an issue's GeoPackage."""
    assert outcome.folder is not None
    with closing(sqlite3.connect(next(outcome.folder.glob("*-0*.gpkg")))) as file:
        names = [name for (name,) in file.execute("SELECT table_name FROM gpkg_contents")]
        return {
            name: {code for (code,) in file.execute(f'SELECT code FROM "{name}"')}
            for name in names
            if name.startswith("points_")
        }


def on_layers(outcome: Outcome) -> dict[str, set[str]]:
    """Return the codes of the symbols on each layer of an issue's drawing."""
    assert outcome.folder is not None
    found: dict[str, set[str]] = {}
    for symbol in ezdxf.readfile(next(outcome.folder.glob("*-0*.dxf"))).modelspace().query("INSERT"):
        for text in symbol.attribs:
            if text.dxf.tag == "CODE":
                found.setdefault(symbol.dxf.layer, set()).add(text.dxf.text)
    return found


@pytest.mark.parametrize("layers", [in_layers, on_layers])
def test_a_layer_stays_the_codes_that_had_it(job: Path, layers: Callable[[Outcome], dict[str, set[str]]]) -> None:
    headings, rows = rows_of(job)
    old = [row for row in rows if row["Code"] not in LATER]
    new = [row for row in rows if row["Code"] in LATER]
    first, later = job.parent / "rover001.csv", job.parent / "rover000.csv"
    lay(first, headings, old)
    before = layers(run_once(job))
    assert set().union(*before.values()) == set(FIRST)

    lay(later, headings, new)
    both = layers(run_once(job))
    assert {name: both[name] for name in before} == before
    assert set().union(*both.values()) == {*FIRST, *LATER}
    assert all(len(codes) == 1 for codes in every(both.values()))

    # those of the first are gone: what they had is nobody's
    lay(first, headings, [row for row in old if row["Code"] in ("CM", "CHK")])
    alone = layers(run_once(job))
    assert {name: both[name] for name in alone} == alone and not alone.keys() & before.keys()

    # and are there again
    lay(first, headings, old)
    again = run_job(job)
    assert layers(again) == both and verify(job.parent / "out").intact


@pytest.mark.parametrize(("layers", "plain"), [(in_layers, "points_no_code"), (on_layers, "no_code")])
def test_the_plain_name_is_of_points_without_a_code(
    job: Path, layers: Callable[[Outcome], dict[str, set[str | None]]], plain: str
) -> None:
    """Nothing of the code "*" can be in a name; whoever links to the plain one gets no such points, now or later."""
    headings, rows = rows_of(job)
    signs = dict(zip((*FIRST, *LATER), ("*", "no_code", "**", "*", "kerb", "kerb"), strict=True))
    rows = [{**row, "Code": signs.get(row["Code"], row["Code"])} for row in rows]
    lay(job.parent / "rover001.csv", headings, rows)
    before = layers(run_once(job))
    assert plain not in before and {"*", "no_code", "**", "kerb"} == set().union(*before.values())

    none = [{**row, "Code": ""} if row["Code"] == "kerb" else row for row in rows]
    lay(job.parent / "rover001.csv", headings, none)
    found = layers(run_once(job))
    assert {code or "" for code in found.pop(plain)} == {""}
    assert found == {name: codes for name, codes in before.items() if codes != {"kerb"}}


def test_codes_of_signs_are_called_by_their_signs(job: Path) -> None:
    """A drafter reads from a layer's name that its points have a code, and the code "plus" keeps its own name."""
    headings, rows = rows_of(job)
    signs = dict(zip((*FIRST, *LATER), ("+", "#", "??", "plus", "*", ""), strict=True))
    lay(job.parent / "rover001.csv", headings, [{**row, "Code": signs.get(row["Code"], row["Code"])} for row in rows])
    made = run_once(job)
    assert in_layers(made) == {
        "points_plus": {"plus"},
        "points_plus_2": {"+"},
        "points_hash": {"#"},
        "points_question_question": {"??"},
        "points_star": {"*"},
        "points_no_code": {None},
    }
    drawn = {name: codes for name, codes in on_layers(made).items() if codes <= set(signs.values())}
    assert drawn == {
        "plus": {"plus"},
        "+": {"+"},
        "#": {"#"},
        "question_question": {"??"},
        "star": {"*"},
        "no_code": {""},
    }
    assert made.folder is not None and verify(job.parent / "out").intact


def test_a_sign_stays_on_the_layer_that_a_drawing_before_had() -> None:
    """Drawings of earlier versions called such a layer "_"; one of a code "question" comes first in any case."""
    counts = Counter[Key]({("??", None): 1, ("*", None): 1, ("question", None): 1, ("?", None): 1, ("_", None): 1})
    colours: dict[str | None, int] = dict.fromkeys(("??", "*", "question", "?", "_"), 3)
    fresh = {key[0]: group.symbol.name for key, group in point_layers(counts, colours, {}).items()}
    assert fresh.pop("?").startswith("question~")
    assert fresh == {"??": "question_question", "*": "star", "question": "question", "_": "_"}
    groups = point_layers(counts, colours, {}, [("_", "code ??"), ("_~12ab", "code *")])
    before = {key[0]: group.symbol.name for key, group in groups.items()}
    assert (before["??"], before["*"], before["question"]) == ("_", "_~12ab", "question")
    assert len(set(before.values())) == len(before)


def test_a_column_stays_the_headings_that_had_it(job: Path) -> None:
    """A case twin and a heading called like a number's name come by an export that is sorted before."""
    headings, rows = rows_of(job)
    mine = {"note": "n", "fid_export": "e", "fid": "f", "Depth": "d"}
    theirs = {"NOTE": "N", "FID": "F", "fid_export_2": "E", "depth": "D"}
    old = [{**row, **mine} for row in rows if row["Code"] not in LATER]
    new = [{**row, **theirs} for row in rows if row["Code"] in LATER]
    lay(job.parent / "rover001.csv", [*headings, *mine], old)
    before = columns_of(run_job(job))
    lay(job.parent / "rover000.csv", [*headings, *theirs], new)
    made = run_job(job)
    both = columns_of(made)
    assert {name: both[name] for name in before} == before
    assert sorted(both.values()) == sorted({*mine.values(), *theirs.values()})
    changes = made.record["changes"]
    assert changes is not None and (changes["added"], changes["recoded"]) == (len(LATER), 0)
    assert not [text for text in changes["because"] if "attribute" in text]


def columns_of(outcome: Outcome) -> dict[str, str]:
    """Return the one value that each carried column has, of one letter."""
    assert outcome.folder is not None
    with closing(sqlite3.connect(next(outcome.folder.glob("*-0*.gpkg")))) as file:
        file.row_factory = sqlite3.Row
        found: dict[str, set[str]] = {}
        for row in file.execute("SELECT * FROM points"):
            for name in row.keys():  # noqa: SIM118  (a row's own are its values)
                if isinstance(row[name], str) and len(row[name]) == 1:
                    found.setdefault(name, set()).add(row[name])
    assert all(len(values) == 1 for values in every(found.values()))
    return {name: min(values) for name, values in found.items()}


def test_names_are_given_anew_where_nothing_had_any() -> None:
    assert layer_names({"KERB": "points_KERB", "kerb": "points_kerb"}, {}) == ["points_KERB", "points_kerb_2"]
    assert column_names(["Depth", "depth"], [], [0, 0], {"fid"}) == ["Depth", "depth_2"]


def test_of_two_issues_that_differ_the_newer_is_gone_by() -> None:
    """As records of earlier versions do, which gave names by the order of codes alone."""
    former = {"KERB": "points_kerb", "kerb": "points_kerb_2"}
    wanted = {"KERB": "points_KERB", "Kerb": "points_Kerb", "kerb": "points_kerb"}
    assert layer_names(wanted, former) == ["points_kerb", "points_Kerb_3", "points_kerb_2"]


def test_a_heading_that_is_new_takes_no_number_that_another_had() -> None:
    """``depth_2`` was the heading ``depth`` of an export that is gone; another export's ``depth`` is not that one."""
    new = 1 << 62
    assert column_names(["Depth", "depth"], ["Depth", "depth_2"], [1, 2], set()) == ["Depth", "depth_2"]
    assert column_names(["Depth", "depth"], ["Depth", "depth_2"], [1, new], set()) == ["Depth", "depth_3"]
