"""Compares the codes of readings with the table of codes, and with those of checks that the job file lists."""

from collections.abc import Iterator
from pathlib import Path

import pyarrow.compute as pc

from pipeline.intake.code_log import CodeSeen
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import CodesNoted, CodeUnknown
from pipeline.letter_case import folded
from pipeline.limits import HINTS
from pipeline.near import listed, nearest
from pipeline.occupations.signs import Wanted
from pipeline.words import counted, plural

#: Codes that the record lists, and those that a note does.
LISTED, _SHOWN = 200, 8
#: So many spellings are compared at the most, or for `HINTS` codes.
_COMPARED = 200_000


def codes_noted(survey: Survey, most: int = LISTED) -> CodesNoted | None:
    """Return the table of codes with the readings of each, and those that it lacks, at ``most`` so many; or None."""
    table, log = survey.prepared.codes, survey.first_pass.codes
    if table is None or log is None:
        return None
    checks = set(map(folded, survey.job.checks.codes))
    readings = {code: seen.readings for code, seen in log.seen.items()}
    unknown = {
        code: seen
        for code, seen in log.seen.items()
        if code.strip() and code not in table.by_code and folded(code) not in checks
    }
    order = sorted(unknown, key=lambda code: (-unknown[code].readings, code))
    hinted = max(HINTS, _COMPARED // len(table.codes))
    return {
        "known": [row.recorded(readings.get(row.code, 0)) for row in table.codes],
        "unknown": [_unknown(code, unknown[code], survey, at < hinted) for at, code in enumerate(order[:most])],
        "unknown_codes": len(order),
        "unknown_readings": sum(seen.readings for seen in unknown.values()) + log.beyond,
    }


def _unknown(code: str, seen: CodeSeen, survey: Survey, hinted: bool) -> CodeUnknown:
    table = survey.prepared.codes
    assert table is not None
    return {
        "code": code,
        "readings": seen.readings,
        "first": [f"{survey.exports[export].shown}:{row}" for export, row in seen.first],
        "nearest": nearest(code, table.by_code) if hinted else [],
    }


def code_notes(survey: Survey, shown: bool) -> list[str]:
    """Return in words which codes of readings the table of codes lacks, in one sentence.

    ``shown`` says that files are named as the user reached them; else they count from the job file.
    """
    table, found = survey.prepared.codes, codes_noted(survey, _SHOWN)
    if table is None or found is None or not found["unknown_codes"]:
        return []
    file = survey.job.codes.file if survey.job.codes is not None else None
    path = table.shown if shown or file is None else survey.prepared.loaded.recorded(file)
    count = found["unknown_codes"]
    told = "; ".join(map(_told, found["unknown"]))
    more = f"; and {count - _SHOWN:,} more, in issue.json" if count > _SHOWN else ""
    are = plural(count, "is", "are")
    return [f"{path}: {counted(count, 'code')} of readings {are} not in the table of codes: {told}{more}"]


def check_code_notes(survey: Survey) -> Iterator[str]:
    """Yield in words that no reading has any of the codes of checks that the job file lists, where readings have some.

    A code that is spelled otherwise there, or was changed in the field, is silently no check: only those of its
    readings that lie on a mark are told of. Where every session lists its checks, none hangs on a code.
    """
    codes, candidates = survey.job.checks.codes, survey.first_pass.candidates
    coded = any(export.points.columns.code is not None for export in survey.exports)
    hang = any(not window.session.checks for window in survey.windows)
    if not (coded and codes and hang and survey.prepared.loaded.stated("checks", "codes")):
        return
    if pc.any(Wanted.of([], codes).has_code(candidates.column("code"))).as_py():
        return
    file, line = survey.where("checks", "codes")
    yield (
        f"{Path(file).name}:{line}: no reading has a code of checks.codes ({listed(codes)}), so no check is found by"
        " its code: if checks were measured under another code, add it"
    )


def _told(one: CodeUnknown) -> str:
    near = f"; nearest {' or '.join(map(repr, one['nearest']))}" if one["nearest"] else ""
    return f"'{one['code']}' ({counted(one['readings'], 'reading')}, first {', '.join(one['first'])}{near})"
