"""Compares positions that a file has twice, in degrees, in a grid or as geometries: which is asked, or the finer taken.

Where both are of the same readings they differ by a projection, a datum and a field shift; where one is of another day
or of a design, each row differs for itself.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import partial

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.geodesy.units import METRES
from pipeline.job.toml_text import listed, quoted, value_text
from pipeline.new_job.column_places import other_places
from pipeline.new_job.draft import Block
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import sample_of
from pipeline.new_job.frames import GridState, export_state
from pipeline.new_job.grid_fits import FilePositions, in_plane
from pipeline.new_job.headings import feet_of, letter_of
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.repeated_headings import told_apart
from pipeline.new_job.stated_above import headed
from pipeline.new_job.unheaded_positions import PARTNERS
from pipeline.new_job.values import MOSTLY, angles, numbers_of
from pipeline.plausible.second_columns import Second, metres_of_degrees, says_measured, second_columns
from pipeline.plausible.two_positions import TwoPositions, are_degrees, last_digit, two_positions
from pipeline.read.correction_headings import says_other_place
from pipeline.read.positions_beside import GEOMETRY
from pipeline.replace import replace
from pipeline.sphere import DEGREE
from pipeline.words import counted, plural

#: Metres from which on last digits are coarse, and how much finer others have to be to be taken instead.
_COARSE, _FINER = 0.02, 4.0
#: Metres that two positions of the same readings are apart at most, as datums are, and may scatter besides digits.
_APART, _ALIKE = 400.0, 0.05
#: Metres by which a difference that a file gives may differ from that of its columns, which are rounded.
_SAME = 0.0021
_DEGREES, _PLANE = ("longitude", "latitude"), ("easting", "northing")


class Twice(Struct, frozen=True):
    """Another position of a file's rows: its columns by our words, none for the geometry, and its numbers (n,)."""

    columns: dict[str, str]
    kind: str
    pair: tuple[Floats, Floats]

    @property
    def called(self) -> str:
        """The columns in words, or the geometry."""
        return " and ".join(map(quoted, self.columns.values())) or "the geometry"


class PositionsInDoubt(Struct, frozen=True):
    """Another position of a file's rows, and how it differs from the mapped one.

    ``alike`` where it is a second one in the same system, or a second height; ``first`` where something says that it,
    not the mapped one, was measured. ``further`` are headings of yet others.
    """

    other: Twice
    how: TwoPositions
    alike: bool = False
    first: bool = False
    further: tuple[str, ...] = ()


def _others(one: FileFound) -> Iterator[Twice]:
    """Yield the positions of a file that are not mapped, where columns that are mapped give its position."""
    found, look = one.mapped, one.look
    if found.kind not in ("degrees", "plane") or not ({"longitude", "easting"} & found.columns.keys()):
        return
    if names := other_places(look, found):
        first, second = (numbers_of(look.columns[name]) for name in names.values())
        if first is not None and second is not None and not any(map(says_other_place, names.values())):
            yield Twice(names, "plane" if found.kind == "degrees" else "degrees", (first, second))
    if look.place is not None:
        first, second = look.place[:2]
        known = np.isfinite(first + second)
        if known.any():
            yield Twice({}, "degrees" if are_degrees(first[known], second[known]) else "plane", (first, second))


def positions_in_doubt(one: FileFound) -> PositionsInDoubt | None:
    """Return the two positions of a file of which one was measured on another day; None where it has no two such."""
    table = sample_of(one)
    mapped = table.first, table.second
    for other in _others(one):
        if len(mapped[0]) == len(other.pair[0]):
            how = two_positions(mapped, other.pair, last_digit(*mapped) + last_digit(*other.pair))
            if how is not None and how.scattered:
                return PositionsInDoubt(other, how)
    return _second(one, mapped)


def _second(one: FileFound, plan: tuple[Floats, Floats]) -> PositionsInDoubt | None:
    """Return the columns that hold the mapped position, or the heights, a second time and scatter about it."""
    found, look = one.mapped, one.look
    words = _DEGREES if found.kind == "degrees" else _PLANE
    if found.kind not in ("degrees", "plane") or found.unheaded or not set(words) <= found.columns.keys():
        return None
    metre = METRES[found.feet or "metre"]
    in_plan = metres_of_degrees(plan[1]) if found.kind == "degrees" else (metre, metre)
    where = plan[0] * in_plan[0], plan[1] * in_plan[1]
    free = [name for name in look.names if name not in found.columns.values() and name != found.poles]
    others = [{name: partial(_read, one, name, word) for name in free} for word in (*words, "height")]
    seconds = second_columns(
        [(found.columns[word], side) for word, side in zip(words, plan, strict=True)], others[:2], where, in_plan
    )
    heights = list[Second]()
    if "height" in found.columns and not found.heights and not found.beside_z:
        mapped = _read(one, found.columns["height"], "height")
        heights = second_columns(
            [(found.columns["height"], mapped)], others[2:], where, [metre], companion=bool(seconds)
        )
    if not seconds and not heights:
        return None
    parts = [*seconds[:1], *heights[:1]]
    columns = dict(zip(words, seconds[0].columns, strict=True)) if seconds else {}
    columns |= {"height": heights[0].columns[0]} if heights else {}
    further = tuple(name for each in (*seconds[1:], *heights[1:]) for name in each.columns)
    said = any(map(says_measured, columns.values()))
    other = Twice(columns, found.kind, plan)
    return PositionsInDoubt(other, parts[0].how, True, said or _differences_given(one, columns), further)


def _read(one: FileFound, name: str, word: str) -> Floats:
    """Return the numbers (n,) of a column, the degrees of angles, NaN where it has none."""
    texts = one.look.columns[name]
    read = angles(texts, "EW" if word == "longitude" else "NS") if one.mapped.dms and word in _DEGREES else None
    read = numbers_of(texts) if read is None else read
    return np.full(len(texts), np.nan) if read is None else read


def _differences_given(one: FileFound, columns: Mapping[str, str]) -> bool:
    """Tell whether a column has the differences of the two, as the report of what was staked out has."""
    pairs = [(_read(one, one.mapped.columns[word], word), _read(one, name, word)) for word, name in columns.items()]
    taken = {*one.mapped.columns.values(), *columns.values()}
    for name in one.look.names:
        given = None if name in taken else numbers_of(one.look.columns[name])
        if given is None:
            continue
        for mapped, other in pairs:
            off = np.abs(given) - np.abs(other - mapped)
            off = off[np.isfinite(off)]
            if len(off) and np.ptp(given[np.isfinite(given)]) > 0 and np.mean(np.abs(off) <= _SAME) >= MOSTLY:
                return True
    return False


def ask_positions(one: FileFound, doubt: PositionsInDoubt, block: Block) -> None:
    """Take the columns in plan out of the block of a file whose positions are in doubt, and ask."""
    words = _DEGREES if one.mapped.kind == "degrees" else _PLANE
    if doubt.alike:
        _ask_alike(one, doubt, block)
        return
    mapped = {word: block.columns.pop(word) for word in words if word in block.columns}
    others = one.look.named(doubt.other.columns)
    called = " and ".join(quoted(one.mapped.columns[word]) for word in words)
    how = doubt.how
    asks = (
        f"which of these positions was measured, {called} or {doubt.other.called}? in {len(how.rows):,} of the first"
        f" {counted(how.compared, 'row')} they differ otherwise than in the rows around, by up to {how.most:.2f} m: one"
        " is of another day, a design, an edit, the antenna or another device. Checks do not tell if marks agree with"
        " both."
    )
    asks += " Remove the # from the two lines of one" if others else " If the geometry was, delete these lines"
    lines = [
        Candidate(value_text(name), f"as {word}, with {PARTNERS[word]}", word)
        for word, name in {**mapped, **others}.items()
    ]
    block.asks.insert(0, Question(words[0], asks, tuple(lines)))
    sides = [[name for name in side.values() if isinstance(name, str)] for side in (mapped, others)]
    if len(sides[0]) == len(words) and len(sides[1]) == len(others):  # runs compare no columns that have no heading
        block.states["not_measured"] = _set_aside(*sides)


def _ask_alike(one: FileFound, doubt: PositionsInDoubt, block: Block) -> None:
    """Take columns out of the block of a file that has them a second time in the same system, and ask."""
    second, how = dict(doubt.other.columns), doubt.how
    block.asks = [each for each in block.asks if each.key not in second or each.key != "height"]
    if {each.key for each in block.asks} & second.keys():
        return  # which is which is asked: a run compares them
    if block.columns.get("easting") == one.look.named(one.mapped.columns).get("northing") and "easting" in second:
        second |= {"easting": second["northing"], "northing": second["easting"]}  # X and Y were turned
    first = {word: name for word, name in one.mapped.columns.items() if word in second}
    if one.mapped.turned and second != doubt.other.columns:
        first |= {"easting": first["northing"], "northing": first["easting"]}
    for word in second:
        block.columns.pop(word, None)
    sides = [second, first] if doubt.first else [first, second]
    called = [" and ".join(map(quoted, side.values())) for side in sides]
    what, kind = ("positions", "position") if len(second) > 1 else ("heights", "height")
    asks = (
        f"which of these {what} was measured, {called[0]} or {called[1]}? in {len(how.rows):,} of the first"
        f" {counted(how.compared, 'row')} they differ otherwise than in the rows around, by up to {how.most:.2f} m: one"
        " is of a design, an edit, another day, the antenna or another device. Checks do not tell where marks agree"
        f" with both or have no second {kind}. Remove the # from the {plural(len(second), 'line', 'lines')} of one"
    )
    both = {word: (first[word], name) for word, name in second.items()}
    shown = {word: dict(zip(names, told_apart(one.look, names), strict=True)) for word, names in both.items()}
    lines = [
        Candidate(value_text(one.look.named({word: name})[word]), f"{_with(word, side)}{shown[word][name]}", word)
        for side in sides
        for word, name in side.items()
    ]
    block.asks.insert(0, Question(next(iter(second)), asks, tuple(lines)))
    named = [one.look.named(side) for side in sides]
    if not one.look.numbered and all(isinstance(name, str) for side in named for name in side.values()):
        block.states["not_measured"] = _set_aside(list(sides[0].values()), list(sides[1].values()), doubt.further)


def _with(word: str, side: Mapping[str, str]) -> str:
    others = [each for each in side if each != word]
    return f"as {word}, with {' and '.join(others)}; " if others else ""


def _set_aside(mapped: Sequence[str], others: Sequence[str], further: Sequence[str] = ()) -> Question:
    """Return the question that records which position was not measured, the other one of the two."""
    asks = (
        "which was not measured? it goes with the answer to the question below, which one was. Runs then tell"
        " it as a doubt that somebody confirmed; without it nothing is proven where marks agree with both."
    )
    pairs = [
        Candidate(
            listed([*(aside or [GEOMETRY]), *further]),
            f"if that of {' and '.join(measured) or 'the geometry'} was measured",
        )
        for measured, aside in ((mapped, others), (others, mapped))
    ]
    return Question("not_measured", asks, tuple(pairs), repeats=True)


def crs_asked(one: FileFound, doubt: PositionsInDoubt, crs: State, grid: GridState) -> State:
    """Return the state of ``crs``: as it is, or the question after it that goes with that after the position."""
    if one.mapped.kind == doubt.other.kind:
        return crs
    other = doubt.other
    mapped = replace(one.mapped, kind=other.kind, columns=other.columns)
    table = FilePositions(other.kind, *other.pair)
    second = export_state(replace(one, mapped=mapped), table, grid)
    ways = "if longitude and latitude", "if easting and northing"
    told = [*_answers(crs, ways[one.mapped.kind == "plane"]), *_answers(second, ways[other.kind == "plane"])]
    asks = "which CRS is the position in that was measured? it goes with the answer to that question below"
    return Question("crs", asks, tuple(told), repeats=True)


def _answers(state: State, which: str) -> list[Candidate]:
    known = [Candidate(state.value, state.why.split(":")[0])] if isinstance(state, Known) else []
    some = state.candidates if isinstance(state, Question) else known
    return [replace(each, why=f"{which}: {each.why}") for each in some]


def with_finer(one: FileFound, grid: GridState) -> FileFound:
    """Return a file with the other position mapped that it has of the same readings with more digits, if it has one."""
    if one.mapped.unheaded or one.look.numbered:
        return one
    table = sample_of(one)
    coarse = last_digit(table.first, table.second)
    if coarse <= _COARSE:
        return one
    for other in _others(one):
        digit = last_digit(*other.pair)
        turned = _same(table, other, grid, coarse + digit) if digit * _FINER <= coarse else None
        if turned is None or any(feet_of(headed(one.look, name, word)) for word, name in other.columns.items()):
            continue
        return replace(one, mapped=_mapped(one, other, turned, coarse))
    return one


def _same(table: FilePositions, other: Twice, grid: GridState, step: float) -> bool | None:
    """Tell whether another position is the mapped one in the job's grid or in degrees with X and Y turned; None if not.

    The two may differ by a datum or a field shift, but not by more than digits from row to row.
    """
    if table.kind == other.kind:
        mapped, others = np.column_stack([table.first, table.second]), np.column_stack(other.pair)
        if table.kind == "degrees":
            metres = DEGREE * np.array([np.cos(np.radians(np.nanmedian(table.second))), 1.0])
            mapped, others = mapped * metres, others * metres
        return False if _together(mapped, others, step) else None
    if table.kind != "degrees" or grid.now is None or grid.step is not None or not other.columns:
        return None
    there = in_plane(table, grid.now)
    if there is None:
        return None
    pair = np.column_stack(other.pair)
    lettered = all(map(letter_of, other.columns.values()))
    ways = [turned for turned in ((False, True) if lettered else (False,))
            if _together(there, pair[:, ::-1] if turned else pair, step)]  # fmt: skip
    return ways[0] if ways else None


def _together(one: Floats, other: Floats, step: float) -> bool:
    off = other - one
    off = off[np.isfinite(off).all(axis=1)]
    if not len(off):
        return False
    middle = np.median(off, axis=0)
    return float(np.hypot(*middle)) <= _APART and float(np.hypot(*(off - middle).T).max()) <= 2.0 * (step + _ALIKE)


def _mapped(one: FileFound, other: Twice, turned: bool, coarse: float) -> Mapped:
    names = [one.mapped.columns[word] for word in PARTNERS if word in one.mapped.columns]
    columns = {word: name for word, name in one.mapped.columns.items() if word not in PARTNERS}
    pair = list(other.columns.items())
    if turned:
        (first, name), (second, other_name) = pair
        pair = [(first, other_name), (second, name)]
    note = (
        f"{' and '.join(map(quoted, names))} are rounded to {coarse:.1g} m: {other.called} has the same positions with"
        " more digits and is used instead"
    )
    return replace(
        one.mapped, columns={**columns, **dict(pair)}, kind=other.kind, dms=False, turned=False,
        notes=[*one.mapped.notes, note],
    )  # fmt: skip
