"""Asks after readings that an export calls deleted, disabled, void or rejected."""

from collections.abc import Iterator
from itertools import chain

from pipeline.intake.deleted_rows import FIRST
from pipeline.job.toml_text import quoted
from pipeline.near import and_more, listed
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.questions import Question
from pipeline.notices.deleted_rows import held_by_solution
from pipeline.read.deleted_headings import is_deleted, says_deleted, says_otherwise
from pipeline.words import counted


def deleted_questions(one: FileFound) -> Iterator[Question]:
    """Yield the questions after columns by which some of the first rows, and not all, are not to be used."""
    columns = one.mapped.columns
    taken = {*columns.values(), *chain.from_iterable(one.mapped.rivals.values())}
    for heading in one.look.names:
        word = says_deleted(heading) if heading not in taken else ""
        texts = [text.strip() for text in one.look.columns[heading]] if word else []
        rows = [at for at, text in enumerate(texts) if is_deleted(word, text)]
        if not rows or len(rows) == len(texts) or any(says_otherwise(word, text) for text in texts):
            continue
        others = list(dict.fromkeys(text for text in texts if not is_deleted(word, text)))
        names = one.look.columns[columns["name"]] if "name" in columns else []
        named = [names[at] for at in rows[:FIRST]] if names else []
        which = f" ({', '.join(named)}{and_more(len(rows) - FIRST)})" if all(named) and named else ""
        held = "" if "solution" in columns else held_by_solution(heading, others[:FIRST])
        yield Question(
            "[[points]]",
            f"are readings to be issued that {quoted(heading)} calls {listed(texts[at] for at in rows)}? it does"
            f" {counted(len(rows), 'row')}{which} of {len(texts):,}, and is not read. If they are, delete these lines;"
            f" if not, take them out of the export and run `tiedown new` again{held}",
        )
