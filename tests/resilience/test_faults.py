"""Requests to the file system that fail or kill a re-issue, a few of them; `faults.py` beside this tries them all.

Most requests of a re-issue are about its GeoPackage; the last ones come after the issue has appeared.
"""

import random
from collections.abc import Iterator

import pytest
from fault_runs import Came, Case, broken, came, compiled, prepared


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> list[Came]:
    place = tmp_path_factory.mktemp("faults")
    shim = compiled(place)
    if shim is None:
        pytest.skip("there is no compiler here, or this is not Linux")
    job, chance = str(prepared(place / "job")), random.Random(20260302)
    found: list[Came] = []

    def cases() -> Iterator[Case]:
        yield Case(job, 0, "EIO")  # only counts
        last = found[0].requests
        yield Case(job, chance.randrange(10, last - 20), "EIO")
        yield Case(job, last - chance.randrange(4, 7), "SIGKILL")

    for each in came(shim, place, cases()):
        found.append(each)
    return found


def test_a_disk_that_fails_is_told_and_the_next_run_succeeds(found: list[Came]) -> None:
    assert [each.code for each in found[:-1]] == [3, 2]
    for each in found:
        assert not broken(each), each


def test_an_issue_whose_run_died_is_told_by_the_next_run(found: list[Came]) -> None:
    """Its check fails, so that the next run ends with 3 as well."""
    killed = found[-1]
    assert killed.appeared and killed.code < 0
    assert killed.after == 3 and "issue 002, verdict FAILED, was written by a run that did not" in killed.later
