"""Small files that would cost much: each ends soon and in words; the limits are those of one place, which README tells.

What larger ones took, run by the command, stands in `README.md` beside this.
"""

import datetime as dt
import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from every import every
from simulate import Plan, simulate

from pipeline import limits, run_job
from pipeline.problems import JobError

ROOT = Path(__file__).resolve().parents[2]

#: CPU seconds that any of them may take; the slowest takes three of them where nothing else runs.
LONGEST = 20.0
HEAD = "Point,Observed,Lat,Lon,EllHt,sE,sN,sU,Sol,Code,Base\n"


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> dict[bool, Path]:
    """A small job, and one with its sessions in a table."""
    plan, folder = Plan(sessions=1, points=4, noise=False), tmp_path_factory.mktemp("costly")
    return {of: simulate(plan).write(folder / str(of), "csv", session_file=of) for of in (False, True)}


def append(name: str, text: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        with (folder / name).open("a", encoding="utf-8") as file:
            file.write(text)

    return change


def replace(name: str, text: str) -> Callable[[Path], None]:
    return lambda folder: (folder / name).write_text(text, encoding="utf-8") and None


def in_job(old: str, new: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        path = folder / "job.toml"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    return change


def device(name: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        (folder / name).unlink()
        (folder / name).symlink_to("/dev/zero")

    return change


def pipe(name: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        (folder / name).unlink()
        os.mkfifo(folder / name)

    return change


_WINDOW = "2026-05-01T00:00:00+00:00,2026-06-01T00:00:00+00:00"
COSTLY: dict[str, tuple[bool, Callable[[Path], None], str]] = {
    "bad rows of a register": (False, append("register.csv", "X,abc,def,ghi,,\n" * 8_000), "'abc' is not a number"),
    "commas in a register": (False, replace("register.csv", "mark" + "," * 2_000_000), "more than 1,048,576"),
    "columns of a register": (False, replace("register.csv", ",".join("c" * 90_000)), "the maximum is 1,000"),
    "quotes in a register": (False, append("register.csv", '"' * 900_000), "cannot be read"),
    "a register that is a device": (False, device("register.csv"), "is a device"),
    "a register that is a pipe": (False, pipe("register.csv"), "is a pipe"),
    "sessions over one time": (True, append("sessions.csv", f"x,{_WINDOW},,,\n" * 20_000), "the maximum is 2,000"),
    "sessions over one another": (
        True,
        append("sessions.csv", "".join(f"x{n},{_WINDOW},,,\n" for n in range(1_900))),
        "overlaps session",
    ),
    "a table of sessions that is a pipe": (True, pipe("sessions.csv"), "is a pipe"),
    "a job file that is a device": (False, device("job.toml"), "is a device, not a job file"),
    "a job file that is a pipe": (False, pipe("job.toml"), "is a pipe, not a job file"),
    "a job file of five million bytes": (False, append("job.toml", "# x\n" * 1_250_000), "more than 4 MB"),
    "a key of thousands of parts": (False, append("job.toml", ".".join("a" * 100_000) + " = 1\n"), "more parts"),
    "thousands of unknown keys": (
        False,
        in_job("[target]\n", "[target]\n" + "".join(f"k{n} = 1\n" for n in range(20_000))),
        "19,000 more problems not shown",
    ),
    "brackets without an end": (False, append("job.toml", "x = " + "[" * 1_000_000), "nested too deeply"),
    "commas in an export": (False, append("rover001.csv", "," * 2_000_000 + "\n"), "more than 1,048,576"),
    "columns of an export": (False, replace("rover001.csv", HEAD[:-1] + ",c" * 3_000 + "\n"), "the limit is 1,000"),
    "an export of zeros": (False, lambda folder: os.truncate(folder / "rover001.csv", 1 << 40), "more than 1,048,576"),
    "rows that cannot be split": (False, append("rover001.csv", ",,\n" * 400_000), "more than 100,000 rows"),
    "quotes that are not closed": (False, append("rover001.csv", '"x\n' * 400_000), "more than 100,000 rows"),
    "an export that is a device": (False, device("rover001.csv"), "it is a device, not a file"),
    "an export that is a pipe": (False, pipe("rover001.csv"), "it is a pipe, not a file"),
}


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="there are no such devices here")
@pytest.mark.parametrize("name", COSTLY)
def test_what_would_cost_much_is_refused_in_words(name: str, small: dict[bool, Path], tmp_path: Path) -> None:
    of, change, words = COSTLY[name]
    folder = Path(shutil.copytree(small[of].parent, tmp_path / "job"))
    change(folder)
    began = time.process_time()
    with pytest.raises(JobError) as refused:
        run_job(folder / "job.toml")
    assert words in str(refused.value), str(refused.value)[:2_000]
    assert time.process_time() - began < LONGEST
    assert all(len(problem.what) <= 2 * limits.MESSAGE for problem in every(refused.value.problems))


def test_a_pattern_is_not_led_round_by_links(small: dict[bool, Path], tmp_path: Path) -> None:
    folder = Path(shutil.copytree(small[False].parent, tmp_path / "job"))
    for one in "abcdef":
        (folder / one).mkdir()
        for other in "uvwxyz":
            (folder / one / other).symlink_to("..", target_is_directory=True)
    shutil.move(folder / "rover001.csv", folder / "a")
    in_job("rover*.csv", "**/rover*.csv")(folder)
    assert [each["path"] for each in run_job(folder / "job.toml").record["inputs"]].count("a/rover001.csv") == 1


def test_a_pattern_over_everything_is_given_up(
    small: dict[bool, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.files.file_patterns.LOOKED_AT", 2_000)
    folder = Path(shutil.copytree(small[False].parent, tmp_path / "job"))
    in_job("rover*.csv", "/**/*.csv")(folder)
    with pytest.raises(JobError, match="would have to be searched"):
        run_job(folder / "job.toml")


def counted_bases(rows: int) -> Callable[[Path], None]:
    """Rows every tenth of a second or so, each a metre on, with a counter where the base id should be."""
    lines = []
    for n in range(rows):
        at = dt.datetime(2026, 3, 1, 22, 30) + dt.timedelta(milliseconds=100 * n)
        place = f"{-43.7 - n % 300 * 1.0003e-5:.11f},{171.85 - n // 300 * 1.0007e-5:.11f}"
        time = at.isoformat(timespec="milliseconds")
        lines.append(f"P{n},{time}Z,{place},322.{n % 9973:04d},0.003,0.004,0.005,fix,R,B{n}\n")
    return append("rover001.csv", "".join(lines))


def both(*changes: Callable[[Path], None]) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        for one in changes:
            one(folder)

    return change


#: Many of one kind that are read all the same.
MANY: dict[str, Callable[[Path], None]] = {
    "marks in one circle": append(
        "register.csv", "".join(f"M{n},{1_600_000 + n % 70 * 0.003:.4f},5160804.1,310.0,,\n" for n in range(5_000))
    ),
    "points at one place": append(
        "rover001.csv",
        "".join(f"P{n % 10},2026-03-01T22:30:00Z,{-43.7 + n * 1e-11:.12f},171.86,322.7,0.003,0.004,0.005,fix,R,\n"
                for n in range(10_000)),
    ),
    "base ids that no session has": counted_bases(20_000),
    "base ids in a session that names none": both(counted_bases(70_000), in_job('base = "BASE-01"\n', "")),
}  # fmt: skip


@pytest.mark.parametrize("name", MANY)
def test_many_of_one_kind_do_not_cost_their_number_squared(name: str, small: dict[bool, Path], tmp_path: Path) -> None:
    folder = Path(shutil.copytree(small[False].parent, tmp_path / "job"))
    MANY[name](folder)
    began = time.process_time()
    record = run_job(folder / "job.toml").record
    assert time.process_time() - began < LONGEST
    rows = record["rows"]
    assert rows["read"] == rows["points"] + rows["on_marks"] + rows["held_back"]


def test_readme_tells_every_limit() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8").partition("## Limits")[2].partition("\n## ")[0]
    for name, value in vars(limits).items():
        if name in ("JOB_FILE", "TABLE", "LINE", "GRID"):
            assert f"{value >> 20:,} MB" in readme, name
        elif name in ("COLUMNS", "ALL_COLUMNS", "SESSIONS", "BLOCKS", "UNSPLIT", "EXPORTS", "LOOKED_AT", "OCCUPATIONS",
                      "DIAGNOSED", "CELLS", "VALUES", "WRONG"):  # fmt: skip
            assert f"{value:,}" in readme, name
