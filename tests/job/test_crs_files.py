"""A CRS that stands in a file: its content is what the job says; what is no CRS is refused with the line of its key."""

from pathlib import Path

import pytest
from pyproj import CRS

from pipeline.job.canonical_text import meaning
from pipeline.job.load import load_job
from pipeline.problems import Problems

JOB = """\
[job]
name = "site"
folder = "out"
[target]
grid = "{grid}"
height = "ellipsoid"
[source]
crs = "EPSG:4959"
[[points]]
files = ["rover.csv"]
[[session]]
name = "day"
start = 2026-03-02T07:30:00Z
end = 2026-03-02T16:45:00Z
shift = "none"
"""
PRJ = CRS("EPSG:2193").to_wkt("WKT1_ESRI", pretty=True)


def job_in(folder: Path, grid: str, more: str = "") -> Path:
    (folder / "rover.csv").write_text("a,b\n1,2\n")
    path = folder / "job.toml"
    path.write_text(JOB.format(grid=grid).replace("[source]\n", f"{more}\n[source]\n"))
    return path


def told(path: Path) -> str:
    problems = Problems()
    assert load_job(path, problems) is None
    return "\n".join(f"{one.line}: {one.what}; {one.fix}" for one in problems.found)


def test_a_changed_file_is_a_changed_job(tmp_path: Path) -> None:
    """The same content under another name is the same job."""
    said = []
    for name, text in (("a.prj", PRJ), ("B.PRJ", f"\ufeff{PRJ}\n"), ("a.prj", PRJ.replace("0.9996", "0.9997"))):
        (tmp_path / name).write_text(text, encoding="utf-8")
        loaded = load_job(job_in(tmp_path, name), Problems())
        assert loaded is not None
        said.append(meaning(loaded.job))
    assert said[0] == said[1] != said[2]


def test_files_stand_for_every_crs(tmp_path: Path) -> None:
    """In [source], in a block of its own and in [control]; an absent one is told once, at its key."""
    path = job_in(tmp_path, "site.prj")
    (tmp_path / "site.prj").write_text(PRJ)
    (tmp_path / "register.csv").write_text("mark\n")
    text = path.read_text().replace('"EPSG:4959"', '"site.prj"') + '[control]\nfile = "register.csv"\ncrs = "site.prj"'
    path.write_text(text)
    loaded = load_job(path, Problems())
    assert loaded is not None and loaded.job.control is not None
    assert {loaded.job.control.crs, loaded.job.target.grid, loaded.job.points[0].crs} == {PRJ}
    path.write_text(text.replace('crs = "site.prj"\n[[points]]', 'crs = "sites.prj"\n[[points]]'))
    said = told(path)
    assert said.startswith("9: the CRS file ") and said.count("\n") == 0
    assert "sites.prj is not there; did you mean site.prj?" in said


def test_a_base_stands_behind_the_grid(tmp_path: Path) -> None:
    loaded = load_job(job_in(tmp_path, "+proj=tmerc +lon_0=171 +ellps=GRS80", 'base = "EPSG:4959"'), Problems())
    assert loaded is not None
    assert loaded.job.target.grid == "+proj=tmerc +lon_0=171 +ellps=GRS80 on EPSG:4959"
    assert "7: the base 'NZGD2000' is not the code" in told(job_in(tmp_path, "EPSG:2193", 'base = "NZGD2000"'))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "contains no CRS"),
        (b"\x89PNG\x00\xff\xfe", "contains no CRS"),
        (b"PROJCS[\0]", "contains no CRS"),
        (b"EPSG:2193", "contains no CRS"),
        (b"PROJCS[" + b"x" * (1 << 20) + b"]", "more than 1 MB"),
        (None, "is a folder"),
    ],
)
def test_what_is_no_crs_is_refused(content: bytes | None, words: str, tmp_path: Path) -> None:
    site = tmp_path / "site.prj"
    site.mkdir() if content is None else site.write_bytes(content)
    said = told(job_in(tmp_path, "site.prj"))
    assert said.startswith("5: ") and words in said and "site.prj" in said, said
