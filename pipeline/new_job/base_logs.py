"""Whether a table of positions with times is a log of where bases stood rather than readings of a rover."""

from collections import defaultdict

from pipeline.job.toml_text import listed
from pipeline.new_job.folder import FileFound
from pipeline.new_job.headings import rank
from pipeline.new_job.questions import Candidate, Question
from pipeline.words import counted

#: What only a rover's readings have: how they were solved, and which base they hang on.
_OF_ROVER = ("solution", "base")


def base_log_question(one: FileFound) -> Question | None:
    """Return the question what a file is that may be a log of bases, with what speaks for that; None for others."""
    why = _why(one)
    if not why:
        return None
    asks = (
        f"is {one.look.called} an export of a rover, or a log of where bases stood? {why}. A log holds no points to"
        " correct: if it is one, take it out of the folder and run `tiedown new` again"
    )
    return Question("files", asks, (Candidate(listed([one.look.shown]), "readings of a rover"),))


def _why(one: FileFound) -> str:
    columns = one.mapped.columns
    name = columns.get("name")
    if name is None or any(word in columns for word in _OF_ROVER):
        return ""
    if rank("base", name) is not None and rank("name", name) is None and "code" not in columns:
        return f'its names stand under "{name}", and nothing says how positions were solved'
    plan = ("longitude", "latitude") if "longitude" in columns else ("easting", "northing")
    if not all(word in columns for word in plan) or "time" not in columns:
        return ""
    texts = one.look.columns
    seen: defaultdict[str, list[tuple[str, ...]]] = defaultdict(list)
    for row, text in enumerate(texts[name]):
        if text and texts[columns["time"]][row]:
            place = tuple(texts[columns[word]][row] for word in plan)
            seen[text].append((*place, texts[columns["time"]][row]))
    again = {text: rows for text, rows in seen.items() if len({row[-1] for row in rows}) > 1}
    if 2 * sum(map(len, again.values())) <= sum(map(len, seen.values())):
        return ""
    if any(len({row[:-1] for row in rows}) > 1 for rows in again.values()):
        return ""
    text = max(again, key=lambda text: len(again[text]))
    return f'{counted(len(again[text]), "row")} of "{text}" have one position to the last digit, which no readings have'
