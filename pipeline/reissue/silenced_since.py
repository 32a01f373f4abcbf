"""Tells what a confirmation of an earlier issue silences that had not been told when it was given."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import DoubtNoted, Record
from pipeline.near import and_more
from pipeline.reissue.renamed_sessions import renamed_sessions
from pipeline.words import Doubt

#: What numbers in a sentence look like: two of one doubt may differ in these alone.
_NUMBERS = re.compile(r"[+-]?\d[\d.,]*")


def silenced_notes(newest: Record, survey: Survey, doubts: Sequence[Doubtful]) -> Iterator[str]:
    """Yield which kinds of doubt are confirmed of other exports or sessions, or oftener, than the newest issue told.

    ``[checks] confirmed`` names a kind: it was set for what was told then. Of a kind that the newest issue told nothing
    of, the key that matched no doubt was noted there. How many points a doubt is about, the record does not have.
    """
    told, now = defaultdict[str, list[DoubtNoted]](list), defaultdict[Doubt, list[Doubtful]](list)
    for one in newest["doubts"]:
        told[one["kind"]].append(one)
    for doubt in dict.fromkeys(doubts):
        if doubt.kind in survey.job.checks.confirmed:
            now[doubt.kind].append(doubt)
    for kind, found in now.items():
        if before := told.get(str(kind)):
            other = _others(found, before, newest, survey)
            if other:
                file, line = survey.where("checks", "confirmed")
                yield (
                    f'{Path(file).name}:{line}: "{kind}" in [checks] confirmed also silences what issue'
                    f" {newest['issue']:03d} did not tell, so look into it now:"
                    f" {str(other[0]).removesuffix(' (confirmed by the job file)')}{and_more(len(other) - 1)}"
                )


def _others(found: Iterable[Doubtful], before: Iterable[DoubtNoted], newest: Record, survey: Survey) -> list[Doubtful]:
    """Return the doubts that no doubt of the newest issue was, each of which is one of them alone.

    Those that are alike in words are paired first.
    """
    left, free = list(found), list(before)
    called = renamed_sessions(newest, survey.windows)
    for in_words in (True, False):
        for doubt in list(left):
            alike = (one for one in free if not in_words or _in_words(doubt, one))
            same = next((one for one in alike if _within(doubt, one, called, survey)), None)
            if same is not None:
                left.remove(doubt)
                free.remove(same)
    return left


def _in_words(doubt: Doubtful, one: DoubtNoted) -> bool:
    return _NUMBERS.sub("#", str(doubt)) == _NUMBERS.sub("#", one["what"])


def _within(doubt: Doubtful, one: DoubtNoted, called: Mapping[str, str], survey: Survey) -> bool:
    """Tell whether a doubt is of sessions, as they were ``called``, and exports that one of the newest issue was of."""
    if doubt.sessions is not None:
        those = [survey.windows[number].session.name for number in doubt.sessions]
        if not {called.get(name, name) for name in those} <= set(one["sessions"]):
            return False
    return all(_names(one["what"], export.shown) for export in survey.exports if _names(str(doubt), export.shown))


def _names(text: str, file: str) -> bool:
    return re.search(rf"(?<![\w./-]){re.escape(file)}(?!\w)", text) is not None
