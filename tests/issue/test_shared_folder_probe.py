"""A shared folder is tried from two sides: what another machine would not see, rename or lock is told."""

import shutil
from pathlib import Path

import pytest

from pipeline.issue.folder import shared_folder_probe
from pipeline.issue.folder.shared_folder_probe import failures_seen_here, failures_seen_there, probe, seen_there, sign


def test_a_folder_that_is_shared_passes_and_is_left_as_it_was(tmp_path: Path) -> None:
    with probe(tmp_path) as one:
        for name in ("w1", "w2"):
            assert (
                failures_seen_there(str(one.place), one.ours, one.theirs, name) == "" == failures_seen_here(one, name)
            )
    with sign(str(tmp_path), "x"):
        assert seen_there(str(tmp_path), "x") and not seen_there(str(tmp_path / "other"), "x")
    assert list(tmp_path.iterdir()) == []


def test_what_fails_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy stands for a folder that a program keeps alike on two machines: what is seen there is not the same."""
    here, copied = tmp_path / "here", tmp_path / "copied"
    here.mkdir()
    with probe(here) as one:
        assert "not seen there" in failures_seen_there(str(copied / one.place.name), one.ours, one.theirs, "w")
        shutil.copytree(here, copied)
        assert "lock held here is not refused" in failures_seen_there(
            str(copied / one.place.name), one.ours, one.theirs, "w"
        )
        assert "different content there" in failures_seen_there(str(one.place), "old", one.theirs, "w")
        assert "not seen here" in failures_seen_here(one, "w")
        assert failures_seen_there(str(one.place), one.ours, "old", "w") == ""
        assert "different content here" in failures_seen_here(one, "w")
        (one.place / "fresh-v").touch()
        (one.place / "there-v").write_text(one.theirs)
        assert "both names" in failures_seen_here(one, "v")

        def refused(*_: object) -> None:
            raise OSError(22, "Invalid argument")

        monkeypatch.setattr(shared_folder_probe, "sync", refused)
        assert "cannot be used there: Invalid argument" in failures_seen_there(
            str(one.place), one.ours, one.theirs, "u"
        )
        with pytest.raises(OSError, match="Invalid argument"), probe(here):
            pass
    assert list(here.iterdir()) == []
