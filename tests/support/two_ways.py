"""The two ways of issuing a revised job: rows changed in a copy of the last issue, and every layer written again."""

import sqlite3
from contextlib import closing
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from issued import Issue

from pipeline.run import lay_out


def counted_copies(patch: pytest.MonkeyPatch) -> list[int]:
    """Return how many rows are changed in a copy from now on, run by run that makes one."""
    made: list[int] = []
    way = lay_out.copy_with_rows

    def counted(*given: Any) -> None:
        made.append(len(given[4]))
        way(*given)

    patch.setattr(lay_out, "copy_with_rows", counted)
    return made


def written_anew(patch: pytest.MonkeyPatch) -> None:
    """Let every issue be written again."""
    patch.setattr("pipeline.reissue.against.few_can_differ", lambda *_: False)


def everything(package: Path, query: str) -> list[tuple[Any, ...]]:
    """Return what a GeoPackage answers."""
    with closing(sqlite3.connect(f"file:{package}?mode=ro&immutable=1", uri=True)) as file:
        return file.execute(query).fetchall()


def layers_of(package: Path) -> list[str]:
    """Return the names of the layers of a GeoPackage, ascending."""
    return [name for (name,) in everything(package, "select table_name from gpkg_contents order by 1")]


def assert_one_issue(quick: Issue, slow: Issue) -> None:
    """Assert that two issues have the same rows in every layer, and the same record but for the files' bytes."""
    assert layers_of(quick.package) == layers_of(slow.package)
    for name in layers_of(slow.package):
        order = f'select * from "{name}" order by fid'
        assert everything(quick.package, order) == everything(slow.package, order), name
    ours, theirs = deepcopy(quick.record), deepcopy(slow.record)
    for record in (ours, theirs):
        del record["sum"]
        for file in record["files"]:
            file.pop("sha256")
            if "database" in file:  # the layers' order in the file, and with it the numbers of what is said of each
                file["database"] = file["database"]["objects"]
    assert ours == theirs


def assert_as_a_first(later: Issue, first: Issue) -> None:
    """Assert that an issue has the rows of a first one, in all layers but that of changes.

    What a failing check may mean is also told from the register before, which a first issue does not have.
    """
    assert {*layers_of(later.package)} - {"changes"} == {*layers_of(first.package)}
    for name in layers_of(first.package):
        columns = [one for _, one, *_ in everything(first.package, f'pragma table_info("{name}")') if one != "cause"]
        order = f'select {", ".join(columns)} from "{name}" order by fid'
        assert everything(later.package, order) == everything(first.package, order), name
