"""Any two issues compared, in either direction: counts, points and a layer of them."""

import json
import shutil
import sqlite3
from pathlib import Path

import pytest
from altered import change
from first_issue import run_once
from running import replace_in, rewrite_export
from simulate import Plan, simulate
from simulate_files import write_register
from typer.testing import CliRunner

from pipeline import open_issue, run_job
from pipeline.aside import set_aside
from pipeline.between import between
from pipeline.cli.main import app
from pipeline.issue.change_summary import counts_in_words
from pipeline.problems import JobError
from pipeline.release import release


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three issues: CM1 raised by 6 mm, which ties 10 points; then one of the others is recoded and one renamed."""
    folder, job = tmp_path_factory.mktemp("between"), simulate(Plan(sessions=2, points=10, noise=False))
    made = job.write(folder)
    run_job(made)
    job.mistype("CM1", "height", 0.006)
    job.write(folder)
    run_job(made)
    codes = {"S02-00002": "TREE"}
    rewrite_export(folder / "rover001.csv", lambda row: row | {"Code": codes.get(row["Point"], row["Code"])})
    replace_in(folder / "rover001.csv", {"S02-00003,": "P-3,"})
    run_job(made)
    return made


def counts(path: Path, first: int, second: int) -> dict[str, int]:
    found = between(path, first, second).counts
    return {key: value for key, value in found.items() if value and isinstance(value, int)}


def test_changes_of_several_issues_come_together(path: Path) -> None:
    """The third issue alone has the recoded points; the moves are the second's."""
    assert counts(path, 1, 3) == {"moved": 10, "recoded": 2, "attributes": 1}
    assert counts(path, 2, 3) == {"recoded": 2, "attributes": 1} and counts(path, 1, 2) == {"moved": 10}
    found = between(path, 1, 3)
    assert found.counts["max_vertical"] == pytest.approx(0.006, abs=2e-5)
    assert len(found.because) >= 2 and any("CM1 height" in reason for reason in found.because)


def test_backwards_is_the_other_way_round(path: Path) -> None:
    forth, back = between(path, 1, 2).rows.to_pylist(), between(path, 2, 1).rows.to_pylist()
    assert [row["d_height"] for row in back] == pytest.approx([-row["d_height"] for row in forth])


def test_backwards_reasons_are_told_as_taken_back(path: Path, tmp_path: Path) -> None:
    """The register went from the old height to the new one; a reader of 2 to 1 must not take it for the way there."""
    (reason,) = between(path, 1, 2).because
    old, new = (float(word) for word in reason.split(" in the register")[0].split("CM1 height ")[1].split(" to "))
    assert new - old == pytest.approx(0.006)
    back = between(path, 2, 1)
    assert back.because == (f"what issue 002 changed is taken back: {reason}",)
    assert {row["because"] for row in back.rows.to_pylist()} == set(back.because)
    assert all(row["d_height"] < 0 for row in back.rows.to_pylist() if row["change"] == "moved")
    to = tmp_path / "back.gpkg"
    said = CliRunner().invoke(app, ["history", str(path), "--between", "2", "1", "--to", str(to)]).output
    assert f"\n  because {back.because[0]}\n" in said
    with sqlite3.connect(to) as file:
        assert file.execute("select distinct because from changes").fetchall() == [back.because]


def test_over_several_issues_the_newest_is_taken_back_first(path: Path) -> None:
    back = between(path, 3, 1)
    steps = [reason for reason in back.because if "taken back" in reason]
    assert [reason.split(" changed")[0] for reason in steps] == ["what issue 003", "what issue 002"]
    told = {row["name"]: back.recoded(row["because"]) for row in back.rows.to_pylist()}
    assert told["S02-00003"] == "name P-3 to S02-00003" and told["S02-00002"].startswith("code TREE to ")


def test_as_text_as_json_and_as_a_layer(path: Path, tmp_path: Path) -> None:
    to = tmp_path / "differences.gpkg"
    said = CliRunner().invoke(app, ["history", str(path), "--between", "1", "3", "--to", str(to)])
    assert said.exit_code == 0 and said.output.startswith("from issue 001 to issue 003: 10 moved")
    assert " to TREE" in said.output and "-0.0000" not in said.output
    document = json.loads(CliRunner().invoke(app, ["history", str(path), "--between", "1", "3", "--json"]).output)
    assert document["moved"] == 10 and len(document["points"]) == between(path, 1, 3).rows.num_rows
    with sqlite3.connect(to) as file:
        rows = file.execute("select change, count(*) from changes group by change").fetchall()
    assert dict(rows)["moved"] == 10
    assert CliRunner().invoke(app, ["history", str(path), "--between", "1", "3", "--to", str(to)]).exit_code == 2


def test_the_same_in_python(path: Path) -> None:
    """`Issue.differences` tells of recoded points too, in the words of the comparison."""
    issues = {number: open_issue(path, number) for number in (1, 2, 3)}
    for one, other in ((1, 3), (2, 3), (3, 1), (1, 2)):
        found, given = issues[other].differences(issues[one]), between(path, one, other).rows.to_pylist()
        assert found["change"].tolist() == [row["change"] for row in given]
        assert found["name"].tolist() == [row["name"] for row in given]
    told = issues[3].differences(issues[2]).set_index("name")["recoded"].to_dict()
    assert set(told) == {"S02-00002", "P-3"} and told["P-3"] == "name S02-00003 to P-3"
    assert told["S02-00002"].startswith("code ") and told["S02-00002"].endswith(" to TREE")
    assert issues[2].differences(issues[1])["recoded"].isna().all()


def test_what_moved_says_its_other_code_too(tmp_path: Path) -> None:
    """The height of CM1 and the code of a point that it ties change at once: one row, one line."""
    job = simulate(Plan(sessions=1, points=4, noise=False))
    path = job.write(tmp_path)
    run_once(path)
    job.mistype("CM1", "height", 0.006)
    job.write(tmp_path)
    rewrite_export(
        tmp_path / "rover001.csv", lambda row: row | ({"Code": "TREE"} if row["Point"] == "S01-00002" else {})
    )
    run_job(path)
    (row,) = [one for one in between(path, 1, 2).rows.to_pylist() if one["name"] == "S01-00002"]
    assert row["change"] == "moved" and row["d_height"] == pytest.approx(0.006, abs=2e-5)
    assert row["because"].startswith("code ") and " to TREE; " in row["because"]
    told = open_issue(path, 2).differences(open_issue(path, 1)).set_index("name")["recoded"].dropna().to_dict()
    assert list(told) == ["S01-00002"] and told["S01-00002"].endswith(" to TREE")
    said = CliRunner().invoke(app, ["history", str(path), "--between", "1", "2"]).output
    assert [line.endswith(" to TREE") for line in said.splitlines() if " S01-00002  " in line] == [True]

    # four points moved and one of these is another kind of thing: four points changed, not five
    assert said.startswith("from issue 001 to issue 002: 4 moved, 1 of them also recoded\n")
    told = CliRunner().invoke(app, ["history", str(path)]).output
    assert " in height), 1 of them also recoded\n" in told
    newest = json.loads(CliRunner().invoke(app, ["history", str(path), "--json"]).output)[-1]["changes"]
    assert (newest["counts"]["moved"], newest["counts"]["recoded"], "rows" in newest) == (4, 1, False)


@pytest.mark.parametrize(
    ("moved", "recoded", "rows", "words"),
    [
        (4, 1, 5, ["4 moved", "1 recoded"]),
        (4, 1, 4, ["4 moved", "1 of them also recoded"]),
        (4, 3, 5, ["4 moved", "2 of them also recoded", "1 recoded"]),
        (0, 3, 3, ["3 recoded"]),
        (4, 1, None, ["4 moved", "1 recoded (moved or not)"]),
        (0, 3, None, ["3 recoded"]),
    ],
)
def test_each_point_is_counted_once(moved: int, recoded: int, rows: int | None, words: list[str]) -> None:
    """The layer has one row for each point that changed; a record counts one that moved and was recoded as both."""
    assert counts_in_words({"moved": moved, "recoded": recoded, "since": 1, "because": []}, rows) == words


def test_what_was_taken_back_is_no_reason(tmp_path: Path) -> None:
    """A point is renamed and gets its name back; meanwhile CM1 is raised and put right again, or stays."""
    job = simulate(Plan(sessions=1, points=4, noise=False))
    path = job.write(tmp_path)
    run_once(path)
    for point, metres in (("GATE,", 0.006), ("S01-00003,", -0.006), ("GATE,", 0.006)):
        job.mistype("CM1", "height", metres)
        job.write(tmp_path)
        replace_in(tmp_path / "rover001.csv", {"S01-00003,": point})
        run_job(path)
    found = between(path, 1, 3)
    assert (found.rows.num_rows, found.because) == (0, ()) and counts(path, 1, 3) == {}
    assert any("CM1 height" in reason for reason in found.without_effect)
    assert not any("another name" in reason for reason in found.without_effect)
    said = CliRunner().invoke(app, ["history", str(path), "--between", "1", "3"]).output
    assert said.startswith("from issue 001 to issue 003: no point changed") and "because" not in said
    document = json.loads(CliRunner().invoke(app, ["history", str(path), "--between", "3", "1", "--json"]).output)
    heads = [reason.split(" changed")[0] for reason in document["without_effect"]]
    assert document["because"] == [] and list(dict.fromkeys(heads)) == ["what issue 003", "what issue 002"]

    # from the second on, one point has another name: what was counted on the way was two changes of it
    assert [one for one in between(path, 1, 4).because if "another name" in one] == ["1 point has another name"]
    assert counts(path, 2, 4) == {} and counts(path, 1, 4) == {"moved": 4, "recoded": 1}
    said = CliRunner().invoke(app, ["history", str(path), "--between", "1", "4"]).output
    assert "without" not in said and "taken back" not in said and "because 1 point has another name" in said


@pytest.fixture(scope="module")
def waited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Issues of CM1 raised by 0.2 m so that the check fails and the issue waits, by 4 mm, of a code, and by 7 mm.

    So the second and the third were made from the first, and the fourth from the third. Then the second was released
    by hand, so that the fifth was made from that.
    """
    job, folder = simulate(Plan(sessions=1, points=4, noise=False)), tmp_path_factory.mktemp("waited")
    path = job.write(folder)
    run_job(path)
    for metres in (0.2, -0.196):
        job.mistype("CM1", "height", metres)
        job.write(folder)
        run_job(path)
    rewrite_export(folder / "rover001.csv", lambda row: row | {"Code": "TREE"} if row["Point"] == "S01-00002" else row)
    run_job(path)
    release(path, 2, "so it is to be drawn")
    job.mistype("CM1", "height", 0.003)
    write_register(job.register, folder / "register.csv")
    run_job(path)
    changes = [open_issue(path, number).record["changes"] for number in range(1, 6)]
    assert [one["since"] if one is not None else None for one in changes] == [None, 1, 1, 3, 2]
    return path


def _metres(reasons: tuple[str, ...]) -> list[float]:
    """By how much the height of CM1 changes in each reason; one that is taken back counts the other way."""
    told = [reason for reason in reasons if "CM1 height " in reason]
    pairs = [reason.split(" in the register")[0].split("CM1 height ")[1].split(" to ") for reason in told]
    signs = [-1 if "is taken back" in reason else 1 for reason in told]
    return [round(sign * (float(new) - float(old)), 3) for sign, (old, new) in zip(signs, pairs, strict=True)]


@pytest.mark.parametrize(
    ("first", "second", "metres"),
    [
        (1, 2, [0.2]),
        (1, 3, [0.004]),
        (1, 4, [0.004]),
        (3, 4, []),
        (2, 3, [-0.2, 0.004]),
        (2, 4, [-0.2, 0.004]),
        (4, 2, [-0.004, 0.2]),
        (3, 1, [-0.004]),
        (2, 5, [-0.193]),
        (4, 5, [-0.004, 0.2, -0.193]),
    ],
)
def test_an_issue_that_waited_has_no_part_in_those_after_it(
    waited: Path, first: int, second: int, metres: list[float]
) -> None:
    """What the register says adds up from one issue to the other, whichever was made from which."""
    found = between(waited, first, second)
    assert _metres((*found.because, *found.without_effect)) == metres
    heights = {
        n: next(float(m["height"]) for m in open_issue(waited, n).record["register"] if m["mark"] == "CM1")
        for n in (first, second)
    }
    assert sum(metres) == pytest.approx(heights[second] - heights[first], abs=1e-4)


def test_what_an_issue_on_the_way_no_longer_tells_is_said(waited: Path, tmp_path: Path) -> None:
    """From the fourth to the first by the third, whose record is gone; the second has no part in it."""
    shutil.copytree(waited.parent, tmp_path / "job", symlinks=True)
    path = tmp_path / "job" / "job.toml"
    (tmp_path / "job" / "out" / "issues" / "003" / "issue.json").unlink()
    found = between(path, 1, 4)
    assert [one for one in found.because if "is not known" in one] == [
        "what issue 003 changed is not known: issue 003 is damaged: it has no issue.json"
    ]
    set_aside(path, 3)
    (told,) = (one for one in between(path, 4, 1).because if "is not known" in one)
    assert told == "what issue 003 changed is not known: issue 003 was set aside"
    assert _metres(between(path, 1, 2).because) == [0.2]


@pytest.mark.parametrize(("first", "second", "what"), [(1, 9, "no issue 009"), (2, 2, "named twice")])
def test_what_cannot_be_compared_is_refused(path: Path, first: int, second: int, what: str) -> None:
    with pytest.raises(JobError, match=what):
        between(path, first, second)


def test_what_somebody_edited_is_compared_with_nothing(tmp_path: Path) -> None:
    """Neither is what is no more there; once it is restored, that it was edited is no reason of what differs."""
    job = simulate(Plan(sessions=1, points=4))
    path = job.write(tmp_path)
    run_job(path)
    package = tmp_path / "out" / "issues" / "001" / "simulated-001.gpkg"
    issued = package.read_bytes()
    change(package, "UPDATE points SET easting = easting + 5 WHERE name = 'S01-00003'")
    job.mistype("CM1", "height", 0.006)
    assert run_job(job.write(tmp_path)).exit_code == 3
    for first, second in ((1, 2), (2, 1)):
        with pytest.raises(JobError, match="not what was issued"):
            between(path, first, second)
    said = CliRunner().invoke(app, ["history", str(path), "--between", "1", "2"])
    assert said.exit_code == 2 and "tiedown verify" in said.output
    package.unlink()
    with pytest.raises(JobError, match="is gone"):
        between(path, 1, 2)
    package.write_bytes(issued)
    found = between(path, 1, 2)
    assert len(found.because) == 1 and found.because[0].startswith("CM1 height ")
    assert found.counts["max_horizontal"] == pytest.approx(0.0, abs=1e-4)
