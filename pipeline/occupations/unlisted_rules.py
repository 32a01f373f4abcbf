"""The rules by which a reading that no list names is taken for a check, or only told of, with a sentence for each."""

from collections.abc import Callable
from typing import Literal

from msgspec import Struct

from pipeline.occupations.features import BESIDE, OFTEN, VICINITY, Features, MarkNearby

#: Which mark of a reading's `Features` a rule speaks of.
Near = Literal["borne", "meant", "nearest_register", "of_column", "on", "peg", "slipped_on"]


class Ruling(Struct, frozen=True):
    """What becomes of a reading: the ``rule``, the reason in words, and whether it is ``held`` back for it.

    ``mark`` is the one that it would be listed with; None where that is not known, or it stands on none.
    """

    rule: str
    because: str
    held: bool
    mark: str | None


class Rule(Struct, frozen=True):
    """A rule by its name: to which readings it ``applies``, and what it makes of them."""

    name: str
    applies: Callable[[Features], bool]
    because: Callable[[Features], str]
    held: Callable[[Features], bool]
    mark: Callable[[Features], str | None]

    def ruling(self, reading: Features) -> Ruling:
        """Return what becomes of a reading to which the rule applies."""
        return Ruling(self.name, self.because(reading), self.held(reading), self.mark(reading))


def ruling(reading: Features) -> Ruling | None:
    """Return what becomes of a reading by the first rule that applies; None where it is an ordinary point.

    What holds no reading back gives way to what an unmapped column says of it.
    """
    found = next((rule.ruling(reading) for rule in RULES if rule.applies(reading)), None)
    if found is None or not found.held:
        return next((rule.ruling(reading) for rule in OF_UNMAPPED_COLUMN if rule.applies(reading)), found)
    return found


def _always(reading: Features) -> bool:
    return True


def _never(reading: Features) -> bool:
    return False


def _no_mark(reading: Features) -> None:
    return None


def _mark(near: Near) -> Callable[[Features], str]:
    return lambda reading: _of(reading, near).mark


def _fails(near: Near) -> Callable[[Features], bool]:
    return lambda reading: _of(reading, near).fails


def _is_on(near: Near) -> Callable[[Features], str]:
    return lambda reading: _named_on(_of(reading, near))


def _refers_to(near: Near) -> Callable[[Features], str]:
    return lambda reading: (
        f"its name refers to the mark {_of(reading, near).mark}, but that is {_of(reading, near).away()}"
    )


def _of(reading: Features, near: Near) -> MarkNearby:
    found: MarkNearby = getattr(reading, near)
    return found


# Said to be a check by what the job file knows


def _check_by_code(reading: Features) -> str:
    return f"its code {reading.code} makes it a check, but {_nowhere(reading)}"


def _mark_column_filled(reading: Features) -> bool:
    return any(character.isalnum() for character in reading.mark_column)


def _check_by_column(reading: Features) -> str:
    return f"its mark {reading.mark_column!r} makes it a check, but {_nowhere(reading)}"


# Mistyped for the code of a check


def _code_slipped(reading: Features) -> bool:
    return bool(reading.slipped_on.mark)


def _mistyped_check(reading: Features) -> str:
    says = f"its code {reading.code} is one slip from {reading.slip}, which makes a check, and it is"
    return _compared(says, reading.slipped_on.mark, reading.slipped_on)


# In common with the readings that are listed


def _like_ties_on_mark(reading: Features) -> bool:
    if reading.borne.mark or reading.like_name.mark or reading.says_witness:
        return False
    alike = reading.has_ties_code or reading.ties_shape
    return alike and reading.nearest_register.within(BESIDE) and reading.nearest_register.fails


def _like_ties(reading: Features) -> str:
    if reading.has_ties_code:
        has = f"its code {reading.code} is used almost only for ties and checks"
    else:
        has = "its name follows the pattern of the ties and checks in the job file"
    near = reading.nearest_register
    return f"{has}, and it is beside the mark {near.mark}, {near.away()}"


def _held_like_ties(reading: Features) -> bool:
    # a new mark is set beside an old one, too: where a check comes after it, that tells whether the base stood
    return reading.last or reading.ties_shape or reading.says_occasion


# Named after a mark of the register, with something beside the mark's name


def _off_as_listed(reading: Features) -> bool:
    return reading.borne.placed and bool(reading.off_alike)


def _by_one_vector(reading: Features) -> str:
    mark, away = reading.borne.mark, reading.borne.away()
    return f"{reading.off_alike}; this reading, named after the mark {mark}, is off it by the same vector, {away}"


def _occupies_borne(reading: Features) -> bool:
    named = reading.repeats_mark or reading.numbers_mark or reading.has_ties_code
    return named and not reading.beside_mark and not reading.like_name.mark and reading.borne.within(reading.reach)


def _occupies_beyond(reading: Features) -> bool:
    return _occupies_borne(reading) and not reading.borne.within(reading.radius)


def _beside_borne(reading: Features) -> bool:
    beside = reading.borne.within(BESIDE) and not reading.borne.within(reading.radius)
    return beside and reading.few_namesakes and not reading.thing_of_code and not reading.like_name.mark


def _named_after_borne(reading: Features) -> str:
    return f"it is named after the mark {reading.borne.mark}, which is {reading.borne.away()}"


# A word for a check, or the very name of a mark


def _says_something(reading: Features) -> bool:
    return reading.says_check or bool(reading.meant.mark)


def _on_some_mark(reading: Features) -> bool:
    return _says_something(reading) and bool(reading.on.mark)


def _on_it(reading: Features) -> str:
    on = reading.on
    if on.mark == reading.meant.mark:
        return _named_on(on)
    says = f"{_says(reading) or 'its name makes'} it a check, and it is"
    return _compared(says, "it" if on.mark in says else on.mark, on)


def _meant_near(reading: Features) -> bool:
    reach = VICINITY if reading.plain_name else BESIDE
    return reading.meant.placed and (reading.says_check or reading.meant.within(reach))


def _meant_as_witness(reading: Features) -> bool:
    return reading.witness and _meant_near(reading)


def _name_of_far_mark(reading: Features) -> bool:
    return reading.meant.placed and reading.plain_name


def _has_the_name(reading: Features) -> str:
    return f"it has the name of the mark {reading.meant.mark}, which is {reading.meant.away()}"


def _check_on_no_mark(reading: Features) -> bool:
    return _says_something(reading) and reading.only_a_check


def _witness_on_no_mark(reading: Features) -> bool:
    return reading.witness and _check_on_no_mark(reading)


def _check_by_words(reading: Features) -> str:
    return f"{_says(reading)} it a check, but {_nowhere(reading)}"


# Named after a temporary mark


def _on_peg(reading: Features) -> bool:
    return reading.peg.within(min(BESIDE, reading.radius))


def _peg_fails(reading: Features) -> bool:
    # a base that moved since shows there alone
    return reading.peg.fails and not reading.numbered_from_peg


def _beside_peg(reading: Features) -> bool:
    # names of pegs are given to points as well
    return reading.peg.within(BESIDE)


# Naming a mark in a column that is not mapped


def _names_in_column(reading: Features) -> bool:
    # farther away the column says something else
    named = reading.of_column.within(BESIDE) and not reading.occupied_by_name
    return named and reading.column_readings <= OFTEN


def _column_on_mark(reading: Features) -> bool:
    return _names_in_column(reading) and reading.of_column.within(reading.radius)


def _column_and_on(reading: Features) -> str:
    return _compared(f"{_column_gives(reading)}, and it is", "it", reading.of_column)


def _column_but_off(reading: Features) -> str:
    return f"{_column_gives(reading)}, but that is {reading.of_column.away()}"


# Pieces of sentences


def _says(reading: Features) -> str:
    """Return in words that name or code hold a word for a check, else nothing."""
    if reading.code_says_check:
        return f"its code {reading.code} makes"
    return "its name makes" if reading.name_says_check else ""


def _column_gives(reading: Features) -> str:
    return f"its unmapped column {reading.column!r} gives {reading.of_column.mark}"


def _named_on(on: MarkNearby) -> str:
    return _compared(f"named after the mark {on.mark} and", "it", on)


def _compared(says: str, called: str, on: MarkNearby) -> str:
    """Say of a reading on a mark, ``called`` by its name or "it", how it compares."""
    where = "beside" if on.fails else "on"
    return f"{says} {where} {called}, {on.away()}, but neither a tie nor a check of its session"


def _nowhere(reading: Features) -> str:
    if not reading.nearest.mark:
        return "neither the register nor a tie gives a mark with a position"
    return f"no mark is within {reading.radius:g} m: the nearest is {reading.nearest.mark}, {reading.nearest.away()}"


#: The rules in their order; the first that applies decides. A reading on a mark is held back where a check would fail
#: there, one off every mark where it can hardly be anything but a check. A witness of a mark is a point: it is told.
RULES = (
    Rule("check by code", lambda reading: reading.coded, _check_by_code, _always, _no_mark),
    Rule("check by mark column", _mark_column_filled, _check_by_column, _always, _no_mark),
    Rule(
        "code mistyped for a check's, at a mark",
        _code_slipped,
        _mistyped_check,
        _fails("slipped_on"),
        _mark("slipped_on"),
    ),
    Rule("like the ties, beside a mark", _like_ties_on_mark, _like_ties, _held_like_ties, _mark("nearest_register")),
    Rule("off its mark as a listed reading is", _off_as_listed, _by_one_vector, _always, _mark("borne")),
    Rule("named as an occupation, off the mark", _occupies_beyond, _refers_to("borne"), _always, _mark("borne")),
    Rule("named as an occupation, on the mark", _occupies_borne, _is_on("borne"), _fails("borne"), _mark("borne")),
    Rule("named after a mark beside it", _beside_borne, _named_after_borne, _never, _mark("borne")),
    Rule("says check or mark, on a mark", _on_some_mark, _on_it, _fails("on"), _mark("on")),
    Rule("witness of a mark near by", _meant_as_witness, _refers_to("meant"), _never, _mark("borne")),
    Rule("says the name of a mark near by", _meant_near, _refers_to("meant"), _always, _no_mark),
    Rule("has the name of a far mark", _name_of_far_mark, _has_the_name, _never, _no_mark),
    Rule("witness, by words a check", _witness_on_no_mark, _check_by_words, _never, _mark("borne")),
    Rule("says check on no mark", _check_on_no_mark, _check_by_words, _always, _no_mark),
    Rule("named after a temporary mark, on it", _on_peg, _is_on("peg"), _peg_fails, _mark("peg")),
    Rule("named after a temporary mark beside it", _beside_peg, _refers_to("peg"), _never, _no_mark),
)
#: Those of readings that name a mark in a column which is not mapped.
OF_UNMAPPED_COLUMN = (
    Rule("on the mark of an unmapped column", _column_on_mark, _column_and_on, _fails("of_column"), _mark("of_column")),
    Rule("off the mark of an unmapped column", _names_in_column, _column_but_off, _always, _mark("of_column")),
)
