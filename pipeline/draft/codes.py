"""Counts the codes of the points where each would be a layer, so that a wrongly mapped column is found early."""

from collections.abc import Callable

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.issue.geopackage.by_code import MOST_CODES
from pipeline.job.load import LoadedJob
from pipeline.limits import DRAWN_CODES
from pipeline.problems import JobError, Problem


class Codes:
    """Counts the codes of drafted points while they stream past, as far as the job's layers need it.

    Where strings are drawn their codes count without number and words, as they are layers.
    """

    def __init__(self, loaded: LoadedJob, named: Callable[[str], str]) -> None:
        issue = loaded.job.issue
        self._limits = [
            (most, loaded.where("issue", key), what)
            for wanted, most, key, what in (
                (issue.by_code, MOST_CODES, "by_code", "by_code = false"),
                ("dxf" in issue.formats, DRAWN_CODES, "formats", "leave out dxf"),
            )
            if wanted
        ]
        self._seen: set[str | None] = set()
        self._named = named

    def add(self, codes: pa.Array) -> None:
        """Take in the next points' codes. Raises `JobError` where there are more than can be layers."""
        if not self._limits:
            return
        self._seen.update(code if code is None else self._named(code) for code in pc.unique(codes).to_pylist())
        problems = [
            Problem(
                *where,
                f"the points have more than {most:,} codes, and each would be a layer",
                f"check that 'code' in [points.columns] maps the codes and not the names, or {instead}",
            )
            for most, where, instead in self._limits
            if len(self._seen) > most
        ]
        if problems:
            raise JobError(problems)
