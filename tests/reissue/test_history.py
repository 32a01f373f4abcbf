"""The issues before a run are read once, and whatever of them cannot be read stops the run before it writes."""

from pathlib import Path
from typing import Any

import pytest
from command import SMALL
from second_issues import rewrite_register, tie_of
from simulate import simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.issue import record
from pipeline.problems import JobError
from pipeline.reissue import history
from pipeline.reissue.history import History
from pipeline.run import run_job as whole_run


def test_an_issue_that_another_run_made_while_the_folder_was_not_there_is_taken_for_the_newest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, examine = simulate(SMALL).write(tmp_path), whole_run.examine

    def meanwhile(*given: Any) -> Any:
        monkeypatch.setattr(whole_run, "examine", examine)
        assert run_job(path).issued
        return examine(*given)

    monkeypatch.setattr(whole_run, "examine", meanwhile)
    second = run_job(path)
    assert not second.issued
    assert second.record["issue"] == 1


@pytest.mark.parametrize("dry_run", [False, True])
def test_a_run_reads_the_newest_issue_once(dry_run: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job, read, reader = simulate(SMALL), list[Path](), history.newest_standing
    path = job.write(tmp_path)
    run_job(path)
    rewrite_register(tmp_path / "register.csv", tie_of(job, 0), "easting", 0.012)

    def counted(folder: Path) -> Any:
        read.append(folder)
        return reader(folder)

    monkeypatch.setattr(history, "newest_standing", counted)
    assert run_job(path, dry_run=dry_run).record["issue"] == 2
    assert len(read) == 1


def test_a_newest_issue_that_cannot_be_read_is_a_problem_of_a_run_that_writes_nothing(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    run_job(path)
    (tmp_path / "out" / "issues" / "001" / "issue.json").write_text("{}", encoding="utf-8")
    found = History.read(tmp_path / "out")
    assert found.newest is None
    with pytest.raises(JobError, match="issue 001"):
        found.refuse()
    with pytest.raises(JobError, match="issue 001"):
        run_job(path, dry_run=True)


def test_a_check_judges_the_newest_issue_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, judge, judged = simulate(SMALL).write(tmp_path), record.parse_record, list[str]()
    assert run_job(path).issued

    def counted(said: Any, at: Path) -> Any:
        judged.append(at.parent.name)
        return judge(said, at)

    monkeypatch.setattr("pipeline.issue.folder.standing_issues.parse_record", counted)
    check_job(path)
    assert judged == ["001"]
