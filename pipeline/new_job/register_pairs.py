"""Asks which position of the marks is meant where a register has several: of two datums, adjustments or grids."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.geodesy.datum_words import names_datum
from pipeline.geodesy.units import METRES
from pipeline.job.toml_text import quoted, unquoted, value_text
from pipeline.near import listed
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.frames import GridState
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.mean_errors import mean_errors_in
from pipeline.new_job.questions import Candidate, Known, Question
from pipeline.new_job.repeated_headings import told_apart
from pipeline.new_job.values import angles, numbers_of
from pipeline.plausible.other_pairs import OtherPair, other_pairs
from pipeline.plausible.second_columns import metres_of_degrees
from pipeline.replace import replace

_DEGREES, _PLANE = ("longitude", "latitude"), ("easting", "northing")
#: What a question says of two positions at most.
_TOLD = 3


def words_of_plan(mapped: Mapped) -> tuple[str, str]:
    """Return our words of the two coordinates in plan that are mapped."""
    return _DEGREES if mapped.kind == "degrees" else _PLANE


def pairs_of(look: FileLook, mapped: Mapped, texts: Mapping[str, Sequence[str]]) -> list[OtherPair]:
    """Return the further positions in columns of a file, ``texts``, whose headings say which it is that is mapped."""
    words = words_of_plan(mapped)
    if mapped.kind not in ("degrees", "plane") or not set(words) <= mapped.columns.keys():
        return []
    if mapped.unheaded or look.numbered or set(words) & mapped.rivals.keys():
        return []
    plan = tuple(_read(texts[mapped.columns[word]], word, mapped) for word in words)
    taken = {*mapped.columns.values(), *mapped.levels, mapped.poles}
    free = [name for name in look.names if name not in taken]
    errors = mean_errors_in(texts, free)
    columns = {name: _either(texts[name], mapped) for name in free if name not in errors}
    metre = METRES[mapped.feet or "metre"]
    in_degrees = mapped.kind == "degrees"
    metres = metres_of_degrees(plan[1]) if in_degrees else (metre, metre)
    return other_pairs((plan[0], plan[1]), columns, metres, in_grid=not in_degrees)


def _read(texts: Sequence[str], word: str, mapped: Mapped) -> Floats:
    read = angles(texts, "EW" if word == "longitude" else "NS") if mapped.dms and word in _DEGREES else None
    read = numbers_of(texts) if read is None else read
    return np.full(len(texts), np.nan) if read is None else read


def _either(texts: Sequence[str], mapped: Mapped) -> Floats:
    """Return the numbers (n,) of a column, or its angles, of whichever side, NaN where there is none."""
    read = numbers_of(texts)
    for sides in ("EW", "NS") if mapped.dms and read is None else ():
        read = angles(texts, sides) if read is None else read
    return np.full(len(texts), np.nan) if read is None else read


def with_pair(one: FileFound, pair: OtherPair) -> FileFound:
    """Return a file with another of its positions mapped."""
    columns = {**one.mapped.columns, **dict(zip(words_of_plan(one.mapped), pair.columns, strict=True))}
    return replace(one, mapped=replace(one.mapped, columns=columns))


def grid_of_pairs(grid: GridState, register: FileFound, others: Sequence[tuple[OtherPair, GridState]]) -> GridState:
    """Return the grid, to be asked where further positions of the register are in others; it lists those of each."""
    words = words_of_plan(register.mapped)
    own = _called([register.mapped.columns[word] for word in words])
    found: dict[str, tuple[Candidate, list[str]]] = {}
    for called, state in [(own, grid.state), *((_called(pair.columns), each.state) for pair, each in others)]:
        known = [Candidate(state.value, state.why)] if isinstance(state, Known) else []
        for each in state.candidates if isinstance(state, Question) else known:
            found.setdefault(each.value, (each, []))[1].append(called)
    if {unquoted(value) for value in found} == set(grid.codes):
        return grid
    asks = "which grid are the coordinates of the register in, and those to be issued? it has positions in several"
    told = [replace(each, why=f"{each.why}, in {' or '.join(names)}") for each, names in found.values()]
    return replace(grid, state=Question("target.grid", asks, tuple(told), ("control.crs",)))


def named_first(grid: GridState, register: FileFound) -> GridState:
    """Return the grid, where it is asked, with those first on whose datum the register's coordinates are by heading."""
    words = words_of_plan(register.mapped)
    heads = [name for word in words if (name := register.mapped.columns.get(word)) is not None]
    if not isinstance(grid.state, Question) or not heads:
        return grid
    named, rest = list[Candidate](), list[Candidate]()
    for each in grid.state.candidates:
        said = next((name for name in heads if names_datum(name, unquoted(each.value))), None)
        (rest if said is None else named).append(
            each if said is None else replace(each, why=f"{each.why}; {quoted(said)} says that datum")
        )
    return replace(grid, state=replace(grid.state, candidates=(*named, *rest))) if named and rest else grid


def pair_question(look: FileLook, columns: dict[str, str], mapped: Mapped, pairs: Sequence[OtherPair]) -> Question:
    """Take a register's columns in plan out of its ``columns``, and ask which position is meant."""
    words = words_of_plan(mapped)
    turned = [mapped.columns[word] for word in words] != [columns[word] for word in words]
    sides = [[columns.pop(word) for word in words], *([*pair.columns][:: -1 if turned else 1] for pair in pairs)]
    how = [
        f"those in {_called(pair.columns)} are {'in another grid' if pair.grid else f'up to {pair.apart:.3f} m off'}"
        for pair in pairs[:_TOLD]
    ]
    asks = (
        f"which position of the marks is meant, {' or '.join(map(_called, sides))}? {listed(how)}: another datum,"
        " adjustment or state, which checks do not tell, as the shift takes it up. The crs above has to be that of the"
        " columns chosen. Remove the # from the two lines of one"
    )
    shown = {word: told_apart(look, [side[at] for side in sides]) for at, word in enumerate(words)}
    lines = [
        Candidate(
            value_text(look.named({word: side[at]})[word]), f"with {quoted(side[1 - at])}; {shown[word][row]}", word
        )
        for row, side in enumerate(sides)
        for at, word in enumerate(words)
    ]
    return Question(words[0], asks, tuple(lines))


def _called(names: Sequence[str]) -> str:
    return " and ".join(map(quoted, names))


def pairs_note(look: FileLook, mapped: Mapped) -> str:
    """Return that an export has further positions in the same kind of columns; "" where it has none."""
    pairs = pairs_of(look, mapped, look.columns)
    if not pairs:
        return ""
    others = listed([_called(pair.columns) for pair in pairs[:_TOLD]])
    taken = _called([mapped.columns[word] for word in words_of_plan(mapped)])
    return (
        f"there are also positions in {others}: those of {taken} are used, and the others are carried along; they may"
        " be in another datum or grid, so check that those used are the ones to correct, and that crs is theirs"
    )
