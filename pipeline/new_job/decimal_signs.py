"""Finds numbers stored as text with a decimal comma in spreadsheets, GeoJSON and layers."""

import re
from collections.abc import Sequence

import pyarrow as pa

from pipeline.files.written_numbers import bare
from pipeline.job.toml_text import quoted
from pipeline.near import listed
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.look_at_files import as_texts
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.values import given
from pipeline.read.findings import Unusable
from pipeline.read.mapping import numeric_names

_COMMA, _POINT = re.compile(r"[+-]?\d*,\d+"), re.compile(r"[+-]?\d*\.\d+")


def decimal_of(one: FileFound) -> State:
    """Return ``decimal`` where broken numbers of mapped columns stand as texts with a comma; None elsewhere.

    A run finds the sign of a text file by looking. Where other columns have texts with a point no key reads both, and
    it is asked for.
    """
    if one.look.form == "text":
        return None
    of_numbers = numeric_names(one.look.points(one.mapped.columns, angles="dms" if one.mapped.dms else None))
    own = {
        name for number, name in enumerate(one.look.names, start=1) if name in of_numbers or str(number) in of_numbers
    }
    if not any(_COMMA.search(text) for name in own for text in one.look.columns[name]):
        return None
    try:
        columns = {name: texts for name, texts in as_texts(one.look, ",").items() if name in own}
        columns = {name: bare(pa.array(texts, pa.string())).to_pylist() for name, texts in columns.items()}
    except (Unusable, OSError):
        return None
    # numbers of a column that holds texts too are written with a comma here; a point is of a text
    commas = {name: text for name, texts in columns.items() if (text := _mostly(texts, _COMMA, _POINT))}
    points = {name: text for name, texts in columns.items() if (text := _mostly(texts, _POINT, _COMMA))}
    if not commas:
        return None
    name, text = next(iter(commas.items()))
    why = f'numbers are stored as text with a decimal comma, as {quoted(text)} in "{name}"'
    if not points:
        return Known('","', why)
    other = listed(points, '"')
    asks = (
        f"how are the numbers written? {why}, and with a point in {other}, and no key reads both: turn the texts into"
        " numbers in the program that the file comes from, save it, and run `tiedown new` again"
    )
    return Question(
        "decimal", asks, (Candidate('","', f"if the points of {other} are mistakes: their rows are held back"),)
    )


def _mostly(texts: Sequence[str], form: re.Pattern[str], other: re.Pattern[str]) -> str:
    """Return the first text of a form that more have than have the other, "" where none or fewer do."""
    found = [text for text in given(texts) if form.fullmatch(text)]
    return found[0] if len(found) > sum(bool(other.fullmatch(text)) for text in texts) else ""
