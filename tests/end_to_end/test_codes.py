"""A job's table of codes: what it lacks is told, what it says reaches drawing, record and report, and no coordinate."""

from pathlib import Path

import ezdxf
import numpy as np
import pytest
from issued import Issue
from running import record_of, replace_in, run_written
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError

TABLE = "code;description;kind;layer;colour\nKERB;lip of the kerb;line;V-KERB;94\nFENCE;fence;line;;\nPOLE;;point;;\n"


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose readings have codes that its table lacks."""
    made = simulate(Plan(sessions=1, points=12))
    codes = made.rows["code"].astype("<U20").copy()
    codes[made.rows["kind"] == "point"] = ["KERB"] * 5 + ["KREB"] * 2 + ["kerb"] + ["Q=W"] + ["POLE"] * 3
    codes[made.rows["kind"] == "tie"] = "POLE"
    made.rows["code"] = codes
    made.job["codes"] = {"file": "codes.csv"}
    made.job["issue"] = {"formats": ["dxf"]}
    path = made.write(tmp_path_factory.mktemp("codes"))
    (path.parent / "codes.csv").write_text(TABLE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def issue(job: Path) -> Issue:
    return run_written(job)


def test_codes_that_the_table_lacks_are_told_once_each(job: Path, issue: Issue) -> None:
    found = issue.record["codes"]
    assert [(row["code"], row["readings"]) for row in found["known"]] == [("KERB", 5), ("FENCE", 0), ("POLE", 4)]
    assert [(row["code"], row["readings"], row["nearest"]) for row in found["unknown"]] == [
        ("KREB", 2, ["KERB"]), ("Q=W", 1, []), ("kerb", 1, ["KERB"]),
    ]  # fmt: skip
    assert (found["unknown_codes"], found["unknown_readings"]) == (3, 4)
    lines = (job.parent / "rover001.csv").read_text(encoding="utf-8").splitlines()
    at = [number for number, line in enumerate(lines, 1) if ",KREB," in line]
    assert found["unknown"][0]["first"] == [f"rover001.csv:{number}" for number in at]
    (note,) = [note for note in issue.record["notes"] if "table of codes" in note]
    assert note.startswith("codes.csv: 3 codes of readings are not in the table of codes: 'KREB' (2 readings, first")
    (warning,) = [warning for warning in check_job(job).warnings if "table of codes" in warning]
    assert warning.endswith(note.partition(": ")[2])


def test_the_table_reaches_the_drawing_and_the_report(job: Path, issue: Issue) -> None:
    drawing = ezdxf.readfile(issue.folder / "simulated-001.dxf")
    layer = drawing.layers.get("V-KERB")
    assert layer.color == 94 and layer.description == "code KERB (lip of the kerb): 5 points"
    assert len(drawing.modelspace().query('INSERT[layer=="V-KERB"]')) == 5
    report = (issue.folder / "simulated-001.html").read_text(encoding="utf-8")
    assert "lip of the kerb" in report and "KREB" in report
    assert [one["rows"] for one in issue.record["inputs"] if one["path"] == "codes.csv"] == [3]


def test_what_it_says_makes_an_issue_and_what_it_looks_like_none(job: Path, issue: Issue) -> None:
    table = job.parent / "codes.csv"
    table.write_text("who," + TABLE.replace(";", ",").replace("\n", "\nme,").removesuffix("me,"), encoding="utf-8")
    assert not run_job(job).issued
    table.write_text(TABLE.replace("lip of the kerb", "top").replace("POLE;;point", "POST;;"), encoding="utf-8")
    made = run_job(job)
    assert made.issued and made.record["changes"] is not None
    assert made.record["changes"]["because"] == [
        "code KERB has changed in the table of codes: description was 'lip of the kerb' and is now 'top'",
        "code POLE is gone from the table of codes",
        "code POST is new in the table of codes",
    ]
    assert made.record["changes"]["moved"] == made.record["changes"]["added"] == 0


def test_drawing_and_table_must_not_contradict_one_another(job: Path, tmp_path: Path) -> None:
    made = simulate(Plan(sessions=1, points=6))
    made.job["codes"] = {"file": "codes.csv"}
    path = made.write(tmp_path)
    (tmp_path / "codes.csv").write_text(TABLE, encoding="utf-8")
    whole = path.read_text(encoding="utf-8")
    for said, word in (
        ('{ code = "KERB", layer = "K" }', "the code 'KERB' is on the layer 'K' here, and on 'V-KERB' in "),
        ('{ code = "KERB", colour = 3 }', "the code 'KERB' has the colour 3 here, and 94 in "),
        ('{ code = "FENCE", layer = "v-kerb", colour = 5 }', "the layer 'v-kerb' has the colour 5 with the code"),
    ):
        path.write_text(f"{whole}\n[drawing]\ncodes = [{said}]\n", encoding="utf-8")
        with pytest.raises(JobError) as caught:
            record_of(path)
        (problem,) = caught.value.problems
        assert problem.what.startswith(word) and problem.what.endswith("codes.csv:2")
        assert problem.line == whole.count("\n") + 3
    replace_in(path, {'{ code = "FENCE", layer = "v-kerb", colour = 5 }': '{ code = "FENCE", layer = "V-KERB" }'})
    assert record_of(path)["codes"] is not None


def test_a_column_of_names_called_codes_stays_bounded(tmp_path: Path) -> None:
    made = simulate(Plan(sessions=1, points=300))
    codes = made.rows["code"].astype("<U20").copy()
    points = made.rows["kind"] == "point"
    codes[points] = [f"N{number}" for number in np.arange(points.sum())]
    made.rows["code"] = codes
    made.job["codes"] = {"file": "codes.csv"}
    path = made.write(tmp_path)
    (tmp_path / "codes.csv").write_text(TABLE, encoding="utf-8")
    record = record_of(path)
    assert record["codes"] is not None
    assert record["codes"]["unknown_codes"] == 301 and len(record["codes"]["unknown"]) == 200
    (note,) = [note for note in record["notes"] if "table of codes" in note]
    assert note.endswith("and 293 more, in issue.json") and len(note) < 1000
