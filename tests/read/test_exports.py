"""Files found by pattern: once, in a fixed order, every problem at once with its line."""

import errno
import io
import os
import tempfile
import threading
from dataclasses import replace

import pytest
from exports_made import COLUMNS, GOOD, HEADER, block, find, text_table

from pipeline.problems import JobError
from pipeline.read import exports, find_exports
from pipeline.read.exports import read_again, read_ahead, read_batches
from pipeline.read.reading_cache import Kept, Room
from pipeline.tables import READING

CONTENT = f"{HEADER}\n{GOOD}\n"


def made(folder, *names: str) -> None:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(CONTENT)


def test_patterns_in_order_of_path_and_each_file_once(tmp_path):
    made(tmp_path, "rover/b.csv", "rover/a.csv", "rover/deep/er/c.csv", "rover/.hidden.csv", "rover/x.txt")
    (tmp_path / "rover" / "folder.csv").mkdir()
    exports, problems = find(tmp_path, block(("rover/*.csv", "rover/a.csv", "rover/**/*.csv")))
    assert problems == []
    assert [export.shown for export in exports] == ["rover/a.csv", "rover/b.csv", "rover/deep/er/c.csv"]


def test_paths_are_shown_from_the_job_files_folder(tmp_path):
    made(tmp_path, "data/a.csv")
    (tmp_path / "configs").mkdir()
    for pattern in ("../data/*.csv", str(tmp_path / "data" / "a.csv")):
        exports, _ = find(tmp_path / "configs", block(pattern))
        assert [export.shown for export in exports] == ["../data/a.csv"]


def test_folders_and_files_with_pattern_characters_in_their_names(tmp_path):
    made(tmp_path, "day [1]/a [x].csv", "day [1]/b.csv")
    for pattern in ("a [[]x].csv", "a [x].csv"):
        assert [export.shown for export in find(tmp_path / "day [1]", block(pattern))[0]] == ["a [x].csv"]


def test_a_pattern_without_files_and_a_broken_file_are_reported_together(tmp_path):
    made(tmp_path, "a.csv", "c.csv")
    (tmp_path / "b.csv").write_text(HEADER.replace("Lat", "Breite"))
    exports, problems = find(tmp_path, block(("*.csv", "none-*.csv")), block("*.gpkg"))
    assert [export.shown for export in exports] == ["a.csv", "c.csv"]
    assert [problem.split(" ->")[0] for problem in problems] == [
        'job.toml:100: no file matches "none-*.csv"',
        'b.csv:1: no column "Lat" (mapped as latitude)',
        'job.toml:200: no file matches "*.gpkg"',
    ]


def test_one_file_in_two_blocks_is_a_problem(tmp_path):
    made(tmp_path, "a.csv", "b.csv")
    exports, problems = find(tmp_path, block("a.csv"), block("*.csv"))
    assert [(export.block, export.shown) for export in exports] == [(0, "a.csv"), (1, "b.csv")]
    assert problems == [
        "job.toml:200: a.csv belongs to two blocks of points (the other is at line 100)"
        " -> let only one block's files match it"
    ]


def test_a_link_to_a_file_is_the_same_file(tmp_path):
    made(tmp_path, "b.csv")
    try:
        os.symlink(tmp_path / "b.csv", tmp_path / "a.csv")
    except OSError:
        pytest.skip("links are not to be had here")
    assert len(find(tmp_path, block("*.csv"))[0]) == 1


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    made(tmp_path, "a.csv", "b.csv")
    original = type(tmp_path).open

    def refuse(path, *args, **kwargs):
        if path.name == "a.csv":
            raise PermissionError(13, "Permission denied")
        return original(path, *args, **kwargs)

    monkeypatch.setattr(type(tmp_path), "open", refuse)
    exports, problems = find(tmp_path, block("*.csv"))
    assert [export.shown for export in exports] == ["b.csv"]
    assert problems == ["a.csv: the file cannot be read: Permission denied"]


def test_a_file_that_changes_after_it_was_checked(tmp_path):
    made(tmp_path, "a.csv")
    ((export,), _) = find(tmp_path, block("a.csv"))
    (tmp_path / "a.csv").write_text(HEADER.replace("Lat", "Breite") + "\n")
    with pytest.raises(JobError, match=r"a\.csv: the file changed"):
        list(read_batches(export))
    (tmp_path / "a.csv").write_bytes(CONTENT.encode() + GOOD.replace("P1", "é").encode("cp1252"))
    with pytest.raises(JobError, match=r"a\.csv: the file changed"):
        list(read_batches(export))


def test_batches_have_the_readings_columns_then_the_exports_own(tmp_path):
    table = text_table(tmp_path, f"{HEADER},Note,Crew\n{GOOD},n,NA\n")
    assert table.schema == READING.append(table.schema.field("Note")).append(table.schema.field("Crew"))
    assert (table["Note"][0].as_py(), table["Crew"][0].as_py()) == ("n", "NA")


def test_one_column_may_be_mapped_to_two_of_ours(tmp_path):
    table = text_table(tmp_path, CONTENT, COLUMNS | {"mark": "Point"})
    assert table["mark"].to_pylist() == table["name"].to_pylist() == ["P1"]


def test_batches_are_no_longer_than_asked_for(tmp_path):
    (tmp_path / "a.csv").write_text(CONTENT + f"{GOOD}\n" * 2500)
    ((export,), _) = find(tmp_path, block("a.csv"))
    sizes = [batch.num_rows for batch in read_batches(export, 1000)]
    assert sizes == [1000, 1000, 501]


def large(folder, monkeypatch):
    """A text that counts as large, and how many threads there are before."""
    (folder / "a.csv").write_text(HEADER + "\n" + f"{GOOD}\n" * 3_000)
    monkeypatch.setattr(exports, "MUCH", 1)
    (export,), _ = find(folder, block("a.csv"))
    return export, threading.active_count()


def rows_of(batches) -> str:
    return repr([(batch.schema, batch.to_pydict()) for batch in batches])  # NaN is not equal to itself


@pytest.mark.parametrize("room", [None, 0])
def test_a_small_text_read_again_gives_the_same_rows(tmp_path, monkeypatch, room):
    """From memory as long as there is room there, which is that of all the exports of a job."""
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{GOOD}\n{GOOD}\n")
    (export,), _ = find(tmp_path, block("a.csv"))
    expected, shared = rows_of(read_batches(export)), Room() if room is None else Room(room)
    before, kept = shared.left, Kept(shared)
    assert rows_of(read_ahead(export, None, kept)) == expected
    assert (kept.held is not None) == kept.whole == (room is None) == (shared.left < before)
    if kept.whole:
        monkeypatch.setattr(exports, "read_batches", None)
    assert rows_of(read_again(export, kept)) == rows_of(read_again(export, kept)) == expected


@pytest.mark.parametrize(("lines", "whole"), [(3, True), (find_exports.LOOKED // len(GOOD), False)])
def test_a_text_that_the_look_took_apart_is_not_taken_apart_again(tmp_path, monkeypatch, lines, whole):
    """Only what is small, and what ends as a text file does; its rows are those of the file, also the second time."""
    for name, end in (("a.csv", "\n"), ("b.csv", "")):
        (tmp_path / name).write_text(HEADER + f"\n{GOOD}" * lines + end)
    (export, other), _ = find(tmp_path, block("*.csv"))
    assert (export.looked is not None) == whole and other.looked is None
    expected = rows_of(read_batches(replace(export, looked=None)))
    if whole:
        monkeypatch.setattr(exports, "open_source", None)
    assert rows_of(read_batches(export)) == rows_of(read_batches(export)) == expected


def test_what_is_looked_at_is_held_as_long_as_there_is_room(tmp_path, monkeypatch):
    for name in ("a.csv", "b.csv", "c.csv"):
        made(tmp_path, name)
    each = find(tmp_path, block("*.csv"))[0][0].looked.size
    assert each > (tmp_path / "a.csv").stat().st_size / 2  # texts of a few letters, numbers as texts
    monkeypatch.setattr(find_exports, "LOOKED", 2 * each)
    found, _ = find(tmp_path, block("*.csv"))
    assert [export.looked is not None for export in found] == [True, True, False]


def test_a_large_text_read_ahead_and_again_gives_the_same_rows(tmp_path, monkeypatch):
    export, threads = large(tmp_path, monkeypatch)
    expected, kept = rows_of(read_batches(export)), Kept()
    assert rows_of(read_ahead(export, None, kept)) == expected
    monkeypatch.setattr(exports, "read_batches", None)
    assert kept.whole and rows_of(read_again(export, kept)) == rows_of(read_again(export, kept)) == expected
    assert threading.active_count() == threads


class Full(io.BytesIO):
    def write(self, _):
        raise OSError(errno.ENOSPC, "full")


def refused(**_):
    raise OSError(errno.EACCES, "refused")


@pytest.mark.parametrize("made", [refused, lambda **_: Full()])
def test_without_room_to_keep_it_a_large_text_is_read_again(tmp_path, monkeypatch, made):
    export, _ = large(tmp_path, monkeypatch)
    monkeypatch.setattr(tempfile, "TemporaryFile", made)
    expected, kept = rows_of(read_batches(export)), Kept()
    assert rows_of(read_ahead(export, None, kept)) == expected
    assert not kept.whole and rows_of(read_again(export, kept)) == expected


def test_a_large_text_that_changes_while_it_is_read_ahead_is_refused(tmp_path, monkeypatch):
    export, threads = large(tmp_path, monkeypatch)
    export.path.write_text(export.path.read_text().replace("1", "2"))
    kept = Kept()
    with pytest.raises(JobError, match="changed while it was being read"):
        list(read_ahead(export, None, kept))
    assert threading.active_count() == threads and not kept.whole


def test_who_reads_no_further_leaves_no_thread(tmp_path, monkeypatch):
    export, threads = large(tmp_path, monkeypatch)
    batches = read_ahead(export, None, Kept())
    next(batches)
    batches.close()
    assert threading.active_count() == threads
