"""Which parts of the job file differ from the last issue's, in words: what they reach, and what they said and say."""

import json
from collections.abc import Mapping

from pipeline.intake.survey import Survey
from pipeline.issue.made_from import JOB_FILE, PART
from pipeline.job.canonical_text import LIMITS_OF, meanings
from pipeline.job.model import Source
from pipeline.job.stated_keys import in_words, stated_keys
from pipeline.reissue.earlier import Last
from pipeline.reissue.former_tables import changed_in_blocks, changed_keys
from pipeline.tolerance import SAME, tolerance_text

#: Parts of the job file that hold points back or release them, and move none.
_CHECKS = "[checks]"
_SETTINGS = (_CHECKS, "[drawing]", "[issue]", "[job]", "limits of [quality]", "limits of [shift]")
#: Those that reach no point.
_PARTICULARS = "[particulars]"
_WORDS = (_PARTICULARS, "[linework]")
#: Those of which more is told beside, or of which too much is stated to be listed.
_TOLD_BESIDE = ("[target]", "[control]", "[job]", _PARTICULARS)
POINTS = "[[points]]"
#: Keys of a table up to which they are listed.
LISTED = 4


def job_file_changes(
    last: Last, survey: Survey, then: Mapping[str, str], told: Mapping[str, str]
) -> tuple[list[str], list[str], list[str]]:
    """Return what of the job file reaches numbers, what only holds points back, and what only the report tells.

    Each is a sentence or none.
    """
    if JOB_FILE not in told:
        return [], [], []
    parts = [name.removeprefix(PART) for name in told if name.startswith(PART)]
    if not parts or not any(name.startswith(PART) for name in then):
        return [told[JOB_FILE]], [], []
    holds, tells = ([part for part in parts if part in some] for some in (_SETTINGS, _WORDS))
    makes = [part for part in parts if part not in (*_SETTINGS, *_WORDS)]
    general, settings, words = (
        [f"{told[JOB_FILE]}: {'; '.join(_of_part(part, last, survey) for part in some)}"] if some else []
        for some in (makes, holds, tells)
    )
    return general, settings, words


def _of_part(part: str, last: Last, survey: Survey) -> str:
    """Return a table of the job file that differs, with what its keys said and say, or what they say now.

    The last record keeps tolerances and particulars, and checksums of all else (`former_tables.changed_keys`).
    """
    before = {_CHECKS: _tolerances, _PARTICULARS: _particulars}.get(part)
    if before is not None and 0 < len(told := before(last, survey)) <= LISTED:
        return f"{part} {', '.join(told)}"
    table = json.loads(meanings(survey.job).get(part, "null"))
    total = last.record["identity"].get(f"{PART}{part}")
    if part == POINTS:
        return _of_blocks(survey, changed_in_blocks(table, total))
    told = changed_keys(part, table or {}, total)
    if 0 < len(told) <= LISTED:
        return f"{part} {', '.join(told)}"
    if part in _TOLD_BESIDE:
        return part
    now = list(stated_keys(part.removeprefix(LIMITS_OF).strip("[]"), table or {}))
    if len(now) > LISTED:
        return part
    says = f"only {', '.join(now)}" if now else "nothing but defaults"
    return f"{part}, which now says {says}"


def _of_blocks(survey: Survey, changed: tuple[str, str] | None) -> str:
    """Return what changed of how exports are read: keys that ``[source]`` has count for all blocks."""
    lines = survey.prepared.loaded.lines.known
    key, text = changed or ("", "")
    own = any(("points", number, key) in lines for number in range(len(survey.job.points)))
    table = "[source]" if ("source", key) in lines and not own else f"[source] or {POINTS}"
    if own or (key and key not in Source.model_fields):
        table = POINTS
    return f"{table} {text}".rstrip()


def _particulars(last: Last, survey: Survey) -> list[str]:
    """Return which particulars are others than in the last issue, from what to what."""
    before = last.record["particulars"] or {}
    now = survey.job.particulars.given if survey.job.particulars is not None else {}
    both = [(key, before.get(key), now.get(key)) for key in dict.fromkeys((*before, *now))]
    return [f"{in_words(key)} {in_words(was)} -> {in_words(is_)}" for key, was, is_ in both if was != is_]


def _tolerances(last: Last, survey: Survey) -> list[str]:
    """Return which tolerances of checks are others than in the last issue, from what to what [m].

    The last issue says what each occupation was held to; those on temporary marks were held to more.
    """
    marks = {row["mark"] for row in last.record["register"]}
    held = [(row["tolerance_h"], row["tolerance_v"]) for row in last.record["checks"] if row["mark"] in marks]
    checks = survey.job.checks
    both = zip(("horizontal", "vertical"), zip(*held, strict=True), (checks.horizontal, checks.vertical), strict=False)
    tested = ((key, [one for one in each if one is not None], now) for key, each, now in both)
    return [
        f"{key} {tolerance_text(min(before))} -> {tolerance_text(now)}"
        for key, before, now in tested
        if before and abs(min(before) - now) > SAME
    ]
