"""Asks after a column that is called a base's and may hold something else: a road's base, the number of a drawing."""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Flags
from pipeline.clock import MINUTE
from pipeline.job.toml_text import quoted
from pipeline.letter_case import folded
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.headings import bare
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.timed_rows import TimedRows
from pipeline.read.correction_headings import says_base_id
from pipeline.replace import replace
from pipeline.words import counted

#: Milliseconds within which a base that was left is not set up again, and how often that is seen, at least, of ids that
#: are none; the share of rows that have an id, at least. Common practice, no source.
_AGAIN, _RETURNS, _FILLED = 15 * MINUTE, 3, 0.5
#: Values that a question shows.
_SHOWN = 4


def settle_bases(exports: Sequence[FileFound], rows: TimedRows) -> TimedRows:
    """Return the rows without the base ids of columns that may hold something else; those columns are asked for.

    Only headings that other things have too are asked after: "Base", "Reference", not "Base ID".
    """
    base = rows.base.copy()
    for number, one in enumerate(exports):
        name = one.mapped.columns.get("base", "")
        mine = rows.export == number
        if not name or one.look.numbered or (says_base_id(name) and bare(name) != "base") or not mine.any():
            continue
        if why := _why(rows, mine):
            words = Counter(text for text in rows.base[mine] if text)
            shown = ", ".join(f"{word} ({count:,})" for word, count in words.most_common(_SHOWN))
            asks = (
                f"does {quoted(name)} hold the ids of bases? {why}: {shown}{', ...' if len(words) > _SHOWN else ''}; if"
                " it is something else, delete these lines; if it does, write the sessions below anew, one for each"
                " base with its id as base"
            )
            if not any(question.key == "base" for question in one.mapped.asks):  # nobody asked so of these rows before
                one.mapped.asks.append(Question("base", asks, (Candidate("", "the id of each reading's base"),)))
            base[mine] = ""
    return replace(rows, base=base)


def _why(rows: TimedRows, mine: Flags) -> str:
    """Return why the column of the rows ``mine`` (n,) may hold no ids of bases, "" where nothing speaks for it."""
    order = np.flatnonzero(mine)[np.argsort(rows.time[mine], kind="stable")]
    filled = [at for at in order.tolist() if rows.base[at]]
    if len(filled) < _FILLED * len(order):
        return f"{counted(len(order) - len(filled), 'reading')} of {len(order):,} have none"
    last: dict[str, int] = {}
    before, returns = "", 0
    for at in filled:
        key, time = folded(rows.base[at]), int(rows.time[at])
        if key != before:
            returns += key in last and time - last[key] < _AGAIN
        last[key], before = time, key
    return "its values come and go within minutes" if returns >= _RETURNS else ""
