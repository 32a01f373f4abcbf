"""An export that is no longer there, with points that no other has, is lost to nobody in silence."""

import re
from pathlib import Path

import pytest
from first_issue import run_once
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError
from pipeline.release import release
from pipeline.run.outcome import Outcome


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A job of two sessions whose points are in ten files that a pattern finds; its first issue is made."""
    job = simulate(Plan(sessions=2, points=12, noise=False))
    made = job.write(tmp_path, files=10)
    assert run_once(made).exit_code == 0
    return made


def exports(path: Path) -> list[Path]:
    return sorted(path.parent.rglob("rover*.csv"))


def middle_of(path: Path) -> tuple[Path, int]:
    """Return a file without an occupation of a mark, and how many points the newest issue has."""
    occupation = re.compile(r"S\d\d-[TC]\d")
    file = next(one for one in exports(path) if not occupation.search(one.read_text(encoding="utf-8")))
    return file, run_job(path).record["rows"]["points"]


def shown(path: Path) -> str:
    return (path.parent / "out" / "current").resolve().name


def waits_for_it(found: Outcome, file: Path, points: int) -> bool:
    told = [line for line in found.waits if f"{file.name} is no longer there" in line]
    return found.exit_code == 3 and len(told) == 1 and f" {points} point" in told[0]


def test_a_lost_export_waits_until_it_is_put_back(path: Path) -> None:
    """The number of points is what is missing from the new issue; the next night tells it again."""
    file, before = middle_of(path)
    content = file.read_bytes()
    file.unlink()
    found = run_job(path)
    assert waits_for_it(found, file, before - found.record["rows"]["points"]) and shown(path) == "001"
    assert run_job(path).exit_code == 3
    file.write_bytes(content)
    assert run_job(path).exit_code == 0 and shown(path) != "002"


def test_a_release_by_hand_settles_it(path: Path) -> None:
    middle_of(path)[0].unlink()
    assert run_job(path).exit_code == 3
    release(path, 2, "that day was measured again")
    assert run_job(path).exit_code == 0 and shown(path) == "002"


def test_where_any_issue_is_released_it_needs_attention_as_long_as_that_stands(path: Path) -> None:
    path.write_text(path.read_text(encoding="utf-8") + '\n[issue]\nrelease = "any"\n', encoding="utf-8")
    file, _ = middle_of(path)
    file.unlink()
    for _ in range(2):
        found = run_job(path)
        assert found.exit_code == 3 and not found.waits and shown(path) == "002"
        assert any(f"{file.name} is no longer there" in note for note in found.record["notes"])


def of_second_session(path: Path) -> list[Path]:
    """Return the files with ties and checks of the second session; none of the first session's is in them."""
    found = [one for one in exports(path) if re.search(r"S02-[TC]\d", one.read_text(encoding="utf-8"))]
    assert found and not any("S01-T" in one.read_text(encoding="utf-8") for one in found)
    return found


def refused(path: Path) -> list[tuple[str, str]]:
    """Return what a run is refused for, which a check says too: file and what."""
    told = []
    for refuse in (run_job, check_job):
        with pytest.raises(JobError) as error:
            refuse(path)
        told.append([(problem.file, problem.what) for problem in error.value.problems])
    assert told[0] == told[1]
    return told[0]


def test_ties_that_left_with_their_export_are_told_of_the_export(path: Path) -> None:
    """Nothing is wrong with the job file that names them: the export is what is missing, once for each."""
    lost = of_second_session(path)
    content = [one.read_bytes() for one in lost]
    for one in lost:
        one.unlink()
    told = refused(path)
    assert [file for file, _ in told] == [one.relative_to(path.parent).as_posix() for one in lost]
    assert all("issue 001 read this file, and it is no longer there" in what and "session" in what for _, what in told)
    for one, was in zip(lost, content, strict=True):
        one.write_bytes(was)
    assert run_job(path).exit_code == 0


def test_a_tie_by_a_name_that_no_issue_had_is_told_beside_an_export_that_is_gone(path: Path) -> None:
    file, _ = middle_of(path)
    file.unlink()
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"S01-C1"', '"NEW-CHECK"'), encoding="utf-8")
    ((where, what),) = refused(path)
    assert where.endswith(path.name) and '"NEW-CHECK"' in what


def test_a_tie_that_was_named_otherwise_in_a_new_export_is_told_by_its_name(path: Path) -> None:
    """The export came again as another file with an underscore in its names: what is near is more use than the file."""
    for one in of_second_session(path):
        text = one.read_text(encoding="utf-8")
        one.with_name(f"rover-again-{one.name}").write_text(text.replace("S02-", "S02_"), encoding="utf-8")
        one.unlink()
    told = refused(path)
    assert told and all(file.endswith(path.name) for file, _ in told)


def test_another_name_is_no_loss(path: Path) -> None:
    file, _ = middle_of(path)
    file.rename(file.with_name("rover-again.csv"))
    found = run_job(path)
    assert found.exit_code == 0 and not found.waits


def test_what_the_job_file_asks_for_no_more_was_left_out_on_purpose(path: Path) -> None:
    file, _ = middle_of(path)
    kept = [one for one in exports(path) if one != file]
    text = path.read_text(encoding="utf-8")
    (line,) = [one for one in text.splitlines() if one.startswith("files")]
    names = ", ".join(f'"{one.relative_to(path.parent).as_posix()}"' for one in kept)
    replace_in(path, {line: f"files = [{names}]"})
    file.unlink()
    found = run_job(path)
    assert found.exit_code == 0 and found.issued and shown(path) == "002"
