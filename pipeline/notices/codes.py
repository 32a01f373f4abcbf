"""Compares the codes of readings with the table of codes, and with those of checks and drawings in the job file."""

from collections.abc import Iterator
from pathlib import Path

import pyarrow.compute as pc

from pipeline.intake.code_log import CodeSeen
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import CodesNoted, CodeUnknown
from pipeline.letter_case import folded
from pipeline.limits import HINTS
from pipeline.near import listed, nearest, plain
from pipeline.occupations.code_slips import changed_over, slip_of
from pipeline.occupations.signs import Wanted
from pipeline.words import counted, plural

#: Codes that the record lists, and those that a note does.
LISTED, _SHOWN = 200, 8
#: So many spellings are compared at the most, or for `HINTS` codes.
_COMPARED = 200_000
#: Letters from which one that is missing, and from which one that is another, is a slip in ``[drawing]``: POLE and HOLE
#: are two codes of one office. Ours, no source.
_MISSING_FROM, _OTHER_FROM = 4, 5


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


def drawn_code_notes(survey: Survey) -> Iterator[str]:
    """Yield in words which codes of ``[drawing]`` no reading has that are nearly the codes of readings.

    A job file may well list codes for all jobs of an office, or for days that are still to come: one that is merely
    unused is not told, nor one of the table of codes.
    """
    drawing, log, table = survey.job.drawing.codes, survey.first_pass.codes, survey.prepared.codes
    if log is None or log.beyond or "dxf" not in survey.job.issue.formats:
        return
    listed_codes = {one.code for one in drawing}
    others = sorted(code for code in log.seen if code not in listed_codes)
    known = table.by_code if table is not None else {}
    told, first = [], None
    for number, one in enumerate(drawing):
        if one.code in log.seen or one.code in known:
            continue
        near = [code for code in others if _meant(one.code, code)]
        if near:
            told.append(f"'{one.code}' (readings have {listed(map(repr, near))})")
            first = number if first is None else first
    if first is not None:
        file, line = survey.where("drawing", "codes", first, "code")
        has, it = plural(len(told), "has", "have"), plural(len(told), "it", "them")
        yield (
            f"{Path(file).name}:{line}: {counted(len(told), 'code')} of [drawing] {has} no effect: no reading has {it}:"
            f" {listed(told)}: write {it} as readings do"
        )


def _meant(code: str, reading: str) -> bool:
    """Tell whether a code that no reading has is that of readings mistyped: one slip of the keys, or in other case."""
    if plain(code) == plain(reading):
        return True
    slipped = bool(slip_of(code, [reading]) or slip_of(reading, [code]))
    longest = max(len(code), len(reading))
    if len(code) != len(reading):
        return slipped and longest >= _MISSING_FROM
    return slipped and (longest >= _OTHER_FROM or (longest >= _MISSING_FROM and changed_over(code, reading)))


def _told(one: CodeUnknown) -> str:
    near = f"; nearest {' or '.join(map(repr, one['nearest']))}" if one["nearest"] else ""
    return f"'{one['code']}' ({counted(one['readings'], 'reading')}, first {', '.join(one['first'])}{near})"
