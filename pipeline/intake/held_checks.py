"""Tells of checks that are held back, named by a session or by their code: they prove nothing."""

from collections.abc import Iterator

import pyarrow.compute as pc

from pipeline.intake.candidate_rows import TOLD, detail_of, reason_of
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.near import and_more
from pipeline.occupations.signs import Wanted
from pipeline.words import Reason, counted, reason_code

#: Readings that a sentence lists.
_LISTED = 3


def held_checks(prepared: Prepared, first_pass: FirstPass) -> list[str]:
    """Return in words which checks that sessions name are held back, and why: they prove nothing."""
    wanted = {(window.index, check.point): window for window in prepared.windows for check in window.session.checks}
    told: dict[tuple[int, str], str] = {}
    sound = set()
    for row in first_pass.candidates.select(TOLD).to_pylist():
        key = (row["session"], row["name"] or "")
        if key not in wanted:
            continue
        if not row["held"]:
            sound.add(key)
        export = prepared.exports[row["export"]].shown
        told.setdefault(
            key,
            f"the check of session {wanted[key].session.name} on the point {row['name']} ({export}:{row['source_row']})"
            f" proves nothing: it is held back as {reason_of(row) if row['held'] else ''}{detail_of(row)}",
        )
    return [*(words for key, words in told.items() if key not in sound), *_held_by_code(prepared, first_pass)]


def _held_by_code(prepared: Prepared, first_pass: FirstPass) -> Iterator[str]:
    """Yield in words the readings of a check's code that no session names and that are held back, repeats left out."""
    table = first_pass.candidates
    codes = Wanted.of([], prepared.loaded.job.checks.codes).has_code(table.column("code"))
    reason = table.column("held")
    held = pc.and_(pc.greater(reason, 0), pc.not_equal(reason, reason_code(Reason.DUPLICATE)))
    points = {one.point for w in prepared.windows for one in (*w.session.ties, *w.session.checks)}
    rows = [row for row in table.filter(pc.and_(codes, held)).select(TOLD).to_pylist() if row["name"] not in points]
    if not rows:
        return
    listed = "; ".join(
        f"{row['name'] or 'a reading'} ({prepared.exports[row['export']].shown}:{row['source_row']}) as"
        f" {reason_of(row)}{detail_of(row)}"
        for row in rows[:_LISTED]
    )
    more = and_more(len(rows) - _LISTED, "; ")
    some = counted(len(rows), "reading of a check's code proves", "readings of a check's code prove")
    yield f"{some} nothing, being held back: {listed}{more}"
