"""A report that somebody signs: particulars make a new issue that says so, and move nothing."""

from collections.abc import Callable
from pathlib import Path

import pytest
from command import SMALL, failing
from every import every
from issued import Issue, current_issue, read_layer
from page_read import read_page
from simulate import simulate

from pipeline import run_job
from pipeline.job.load import load_job
from pipeline.job.local_clock import local_clock
from pipeline.problems import Problems

HOSTILE = '<script>alert(1)</script> & "Sons"'
GIVEN = f"""
[particulars]
client = '{HOSTILE}'
pole = 1.612
longitude = 0.1234567890123
signed = 2026-03-05
crew = ["A. Bee", "C. Dee"]
receiver = {{ serial = "000123", year = 2024 }}
"""


def issue_of(path: Path, text: str, because: list[str]) -> Issue:
    path.write_text(text, encoding="utf-8")
    outcome = run_job(path)
    assert outcome.issued and outcome.record["changes"] is not None
    assert outcome.record["changes"]["because"] == because
    return current_issue(path.parent / "out")


def test_particulars_make_a_new_issue_that_moves_nothing(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    bare = path.read_text(encoding="utf-8")
    assert run_job(path).issued
    first = current_issue(tmp_path / "out")
    assert first.record["particulars"] == {}
    because = ["the job file changed: [particulars]"]
    second = issue_of(path, bare + GIVEN, because)
    assert second.record["particulars"] == {
        "client": HOSTILE, "pole": 1.612, "longitude": 0.1234567890123, "signed": "2026-03-05",
        "crew": ["A. Bee", "C. Dee"], "receiver": {"serial": "000123", "year": 2024},
    }  # fmt: skip
    (page,) = (tmp_path / "out" / "current").resolve().glob("*-002.html")
    told = read_page(page.read_bytes()).section("particulars").text()
    assert HOSTILE in told and "serial: 000123" in told and "1.612" in told
    assert not run_job(path).issued
    third = issue_of(path, f"{bare}[particulars]\n", because)
    for later in (second, third):
        assert later.record["reach"] == first.record["reach"]
        assert later.points.rows == first.points.rows
        assert later.record["changes"]["moved"] == 0 and read_layer(later.package, "changes").rows == []
    path.write_text(bare, encoding="utf-8")  # an empty table says what none says
    assert not run_job(path).issued


def test_the_suspect_points_of_the_record_are_those_of_the_layers(tmp_path: Path) -> None:
    job = failing()
    path = job.write(tmp_path)
    assert run_job(path).exit_code == 3
    issue = current_issue(tmp_path / "out")
    held = issue.held_back.where(reason="suspect")
    found = issue.record["suspect"]
    assert found["total"] == len(held) == len(found["points"]) > 0
    assert [one["name"] for one in found["points"]] == [row["name"] for row in held]
    for one, row in every(zip(found["points"], held, strict=True)):
        assert one["held_back"] and one["session"] == row["session"]
        assert one["easting"] == pytest.approx(row["easting"], rel=0, abs=1e-6)
    job.job["issue"] = {"hold_back": []}
    job.write(tmp_path)
    outcome = run_job(path)
    rows, released = current_issue(tmp_path / "out").points.rows, outcome.record["suspect"]
    assert released["total"] == len(held) and not any(one["held_back"] for one in released["points"])
    accuracy = outcome.record["accuracy"]
    assert accuracy is not None
    for key, value in every(accuracy.items()):
        assert value == pytest.approx(max(row[key] for row in rows), rel=0, abs=1e-6)


def zoned(source: str, *blocks: str | None) -> Callable[[str], str]:
    """Return what states zones in a job file of one block."""
    more = "".join(f'\n[[points]]\nfiles = ["rover{n}.csv"]\n' + (f'time_zone = "{zone}"\n' if zone else "")
                   for n, zone in enumerate(blocks))  # fmt: skip
    return lambda text: text + more + (f'\n[source]\ntime_zone = "{source}"\n' if source else "")


@pytest.mark.parametrize(
    ("source", "blocks", "clock"),
    [
        ("", (None,), None),
        ("UTC", (None,), None),
        ("GPS", (None,), None),
        ("Europe/Vienna", (None,), "Europe/Vienna"),
        ("Europe/Vienna", ("UTC",), "Europe/Vienna"),
        ("Europe/Vienna", ("Asia/Kolkata",), "Europe/Vienna"),
        ("UTC", ("+05:30", None), "+05:30"),
        ("", ("Asia/Kolkata", "Asia/Kolkata"), "Asia/Kolkata"),
        ("", ("Asia/Kolkata", "Europe/Vienna"), None),
    ],
)
def test_the_clock_on_site(source: str, blocks: tuple[str | None, ...], clock: str | None, tmp_path: Path) -> None:
    bare = '[job]\nname = "a"\nfolder = "out"\n[target]\ngrid = "EPSG:2193"\nheight = "ellipsoid"\n'
    session = '\n[[session]]\nname = "one"\nstart = 2026-03-01T20:00:00Z\nend = 2026-03-01T22:00:00Z\nshift = "none"\n'
    path = tmp_path / "job.toml"
    text = zoned(source, *blocks)(bare + session).replace("files = ", 'crs = "EPSG:4959"\nfiles = ')
    path.write_text(text, encoding="utf-8")
    problems = Problems()
    loaded = load_job(path, problems)
    assert loaded is not None, problems.found
    assert local_clock(loaded.job) == clock
