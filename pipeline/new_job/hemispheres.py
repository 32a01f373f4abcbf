"""Finds the columns of a file that hold the hemispheres of its degrees, and headings that state one."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.files.hemisphere_headings import NEGATE, side_in_heading, told_side
from pipeline.job.toml_text import quoted
from pipeline.new_job.headings import bare
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.repeated_headings import heading_of
from pipeline.read.hemispheres import BOTH, axis_of_letters, is_hemisphere


def letters_of(columns: Mapping[str, Sequence[str]], degrees: Mapping[str, tuple[str, Floats]]) -> list[str]:
    """Return the headings of letters that belong to degrees: called so, or beside them with one letter in all rows.

    Elsewhere an E or W is whatever somebody noted, as a side of a road. Both letters are of degrees only near zero.

    Args:
        columns: the texts of a file's columns by their headings, in its order.
        degrees: the heading of longitude and latitude and their degrees (n,) as they are read, by our words.
    """
    names = list(columns)
    found = []
    for at, name in enumerate(names):
        axis = axis_of_letters(columns[name])
        if axis is None or axis not in degrees:
            continue
        heading, values = degrees[axis]
        one = len({text.casefold() for text in columns[name] if text}) == 1 or bool(np.nanmin(np.abs(values)) < BOTH)
        beside = heading in names[max(at - 1, 0) : at + 2]
        if is_hemisphere(bare(name)) or (beside and one):
            found.append(name)
    return found


def against_heading(degrees: Mapping[str, tuple[str, Floats]]) -> str:
    """Return which headings state the south or west above positive numbers, and what to do; "" for none.

    ``degrees`` are as `letters_of` has them.
    """
    told = []
    for word, (name, values) in degrees.items():
        heading = heading_of(name)
        said = side_in_heading(heading, word)
        if said is not None and said.below and said.sure and bool((values > 0).any()):
            mixed = bool((values < 0).any())
            what = told_side(heading, said)
            told.append(what.replace("numbers are positive", "numbers are not all negative") if mixed else what)
    return f"{'; '.join(told)}: {NEGATE}" if told else ""


def either_side(degrees: Mapping[str, tuple[str, Floats]]) -> list[Question]:
    """Return the questions after headings whose letter is the west in some languages and the east in others.

    They are asked of positive numbers; ``degrees`` are as `letters_of` has them.
    """
    asks = []
    for word, (name, values) in degrees.items():
        said = side_in_heading(heading_of(name), word)
        if said is not None and not said.sure and said.below and bool((values > 0).any()):
            read = "east" if word == "longitude" else "north"
            what = (
                f'are the numbers in "{heading_of(name)}" degrees {read}? its letter may also stand for the'
                f" {said.side}, and they are positive. If {said.side}: export signed degrees, negative in the west and"
                " south, and run `tiedown new` again: all points would be mirrored while all checks agree"
            )
            asks.append(Question(word, what, (Candidate(quoted(name), f"they really are degrees {read}"),)))
    return asks
