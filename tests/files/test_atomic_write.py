"""A file is what was written, or as it was; nothing is left beside it."""

from pathlib import Path

import pytest

from pipeline.files.atomic_write import atomic_write


def test_a_file_is_what_was_written(tmp_path: Path) -> None:
    path = tmp_path / "page"
    for content in ("first", "second"):
        with atomic_write(path, tmp_path / ".page") as fresh:
            fresh.write_text(content)
            assert not path.exists() or path.read_text() == "first"
        assert path.read_text() == content and list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("error", [OSError, ValueError, KeyboardInterrupt])
def test_it_is_as_it_was_where_the_writing_fails(error: type[BaseException], tmp_path: Path) -> None:
    path = tmp_path / "page"
    path.write_text("first")
    with pytest.raises(error), atomic_write(path, tmp_path / ".page") as fresh:
        fresh.write_text("half")
        raise error
    assert path.read_text() == "first" and list(tmp_path.iterdir()) == [path]


def test_it_is_as_it_was_where_it_cannot_be_replaced(tmp_path: Path) -> None:
    path = tmp_path / "page"
    path.mkdir()
    with pytest.raises(OSError), atomic_write(path, tmp_path / ".page") as fresh:
        fresh.write_text("whole")
    assert list(tmp_path.iterdir()) == [path]
