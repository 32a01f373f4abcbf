"""What is known of a reading that no list names: what it says of itself, and how it lies to the marks."""

from math import isfinite, nan

from msgspec import Struct

from pipeline.letter_case import folded
from pipeline.occupations.check_words import mentions_check, says_check
from pipeline.occupations.code_slips import changed_over
from pipeline.occupations.name_words import direction, of_numbers, of_occasion, of_witness

#: Metres within which a check that is named after a mark was meant for it, whatever moved it. A base that was
#: knocked, or averaged its position again, is off by less. Common practice, no source.
VICINITY = 20.0
#: Metres. A reading of another code is told of by a name that is a little more than the mark's within this of it;
#: witness marks and fences are named after marks too. Common practice, no source.
BESIDE = 5.0
#: Readings of a session up to which those that are named alike after a mark are occupations of it; more are points
#: that are numbered from it. Common practice, no source.
OCCUPATIONS = 3
#: Readings of a session up to which those that name one mark in another column are occupations of it; more are points
#: measured from it. Common practice, no source.
OFTEN = 6
#: Metres beyond which a distance says it all, and its parts are not given.
_FAR = 1000.0


class MarkNearby(Struct, frozen=True):
    """A mark, and how a reading lies to it.

    Args:
        mark: its name, "" for no mark.
        distance: metres in plan, NaN where nobody knows where the mark is.
        apart: metres east, north and up, observed minus known; NaN where the mark has no such coordinate.
        fails: whether a check at this place would fail on the mark; only within `BESIDE` or ``checks.radius`` of it.
    """

    mark: str = ""
    distance: float = nan
    apart: tuple[float, float, float] = (nan, nan, nan)
    fails: bool = False

    def within(self, metres: float) -> bool:
        """Tell whether the reading lies within so many metres of the mark, in plan."""
        return self.distance <= metres

    @property
    def placed(self) -> bool:
        """Whether it is known where the mark is."""
        return isfinite(self.distance)

    def away(self) -> str:
        """Return in words how the reading lies to the mark."""
        if self.distance > _FAR:
            return f"{self.distance:,.0f} m away"
        east, north, up = self.apart
        height = f", height {up:+.3f}" if isfinite(up) else ""
        return f"{self.distance:.2f} m away (east {east:+.3f}, north {north:+.3f}{height})"


#: Where there is no such mark.
NO_MARK = MarkNearby()


class Features(Struct, frozen=True, kw_only=True):
    """A reading that is on no mark by the job file, with a place of its own.

    Args:
        radius: metres, ``checks.radius``.
        name, code: as exported.
        coded: whether the code is one of ``checks.codes``.
        mark_column: what its mapped ``mark`` column says, without blanks.
        nearest: the nearest of all marks, those of the register and temporary ones.
        nearest_register: the nearest of the register's.
        like_name, like_code: the mark of the register that the name, or the code, is like.
        plain_name: whether the name is that mark's with no more than a word beside it.
        borne: the mark of the register that the name begins or ends with, with ``beside`` what else is in it, in lower
            case.
        namesakes: readings of the session that are named in the same way.
        witnesses: those that are named after ``borne`` with a single letter for a direction.
        ties_code: the code that all listed readings of the job have, in lower case; "" where they differ.
        ties_code_rare: whether (nearly) no other reading has that code.
        slip: the code of a check that its code is one slip of the keys from, where that is no code of its own; or "".
        ties_shape: whether the name has the shape of a listed one, as few others do.
        off_alike: the listed reading, in words, that is off the mark of its name by the same vector as this one; or "".
        last: whether it comes after every listed reading of the session.
        peg: the temporary mark that the name is like.
        numbered_from_peg: whether more than `OCCUPATIONS` readings of the session are named after it.
        column: heading of an unmapped column that names a mark, ``of_column``; "" where there is none.
        column_readings: how many readings of the session name it there.
        occupied_by_name: whether a listed reading of the session is on that mark, and named after it.
    """

    radius: float
    name: str | None = None
    code: str | None = None
    coded: bool = False
    mark_column: str = ""
    nearest: MarkNearby = NO_MARK
    nearest_register: MarkNearby = NO_MARK
    like_name: MarkNearby = NO_MARK
    like_code: MarkNearby = NO_MARK
    plain_name: bool = False
    borne: MarkNearby = NO_MARK
    beside: str = ""
    namesakes: int = 1
    witnesses: int = 0
    ties_code: str = ""
    ties_code_rare: bool = False
    slip: str = ""
    ties_shape: bool = False
    off_alike: str = ""
    last: bool = False
    peg: MarkNearby = NO_MARK
    numbered_from_peg: bool = False
    column: str = ""
    of_column: MarkNearby = NO_MARK
    column_readings: int = 0
    occupied_by_name: bool = False

    @property
    def lower_code(self) -> str:
        """The code in lower case, without blanks around it."""
        return folded(self.code)

    @property
    def has_ties_code(self) -> bool:
        """Whether its code is that of the listed readings, and of (nearly) no others."""
        return self.ties_code_rare and self.lower_code == self.ties_code

    @property
    def no_other_code(self) -> bool:
        """Whether it has no code, or that of the listed readings."""
        return self.lower_code in ("", self.ties_code)

    @property
    def code_says_check(self) -> bool:
        """Whether the code holds a word for a check, or for control."""
        return mentions_check(self.code, code=True)

    @property
    def name_says_check(self) -> bool:
        """Whether the name holds a word for a check."""
        return mentions_check(self.name)

    @property
    def says_check(self) -> bool:
        """Whether either does."""
        return self.code_says_check or self.name_says_check

    @property
    def only_a_check(self) -> bool:
        """Whether it can hardly be anything but a check: its code says that alone, or its name does in a vicinity."""
        return says_check(self.code) or (says_check(self.name) and self.nearest.within(VICINITY))

    @property
    def meant(self) -> MarkNearby:
        """The mark that its name stands for, or its code, where a word for a check stands beside."""
        return self.like_name if self.like_name.mark or not self.says_check else self.like_code

    @property
    def on(self) -> MarkNearby:
        """The mark within ``radius`` of it: the one that it is meant for, else the nearest."""
        if self.meant.within(self.radius):
            return self.meant
        return self.nearest if self.nearest.within(self.radius) else NO_MARK

    @property
    def slipped_on(self) -> MarkNearby:
        """The mark that it was meant for as a check where its code is mistyped.

        That is the one that its name bears. Of a reading named otherwise, a post with a code of its own beside a mark
        may be as near (STP for a step, where checks have STN): only letters that are changed over tell it, within
        ``radius``.
        """
        if not self.slip or self.beside_mark or self.says_witness or self.thing_of_code:
            return NO_MARK
        if self.borne.mark:
            return self.borne if self.borne.within(BESIDE) else NO_MARK
        near = changed_over(self.code or "", self.slip) and self.nearest.within(self.radius)
        return self.nearest if near else NO_MARK

    @property
    def few_namesakes(self) -> bool:
        """Whether no more readings are named alike than there are occupations of a mark."""
        return self.namesakes <= OCCUPATIONS

    @property
    def says_occasion(self) -> bool:
        """Whether its whole name is words for an occasion."""
        return of_occasion(folded(self.name))

    @property
    def says_witness(self) -> bool:
        """Whether its whole name says that it lies beside something."""
        return of_witness(folded(self.name))

    @property
    def repeats_mark(self) -> bool:
        """Whether it is named as the same mark is when occupied once more: CM2-PM, or as the listed names are."""
        return self.few_namesakes and (of_occasion(self.beside) or (self.ties_shape and of_numbers(self.beside)))

    @property
    def numbers_mark(self) -> bool:
        """Whether it is named after the mark with a number, and has no code of its own."""
        return self.few_namesakes and of_numbers(self.beside) and self.no_other_code

    @property
    def beside_mark(self) -> bool:
        """Whether its name says that it lies beside the mark; one letter may be a name's, under the code of ties."""
        return of_witness(self.beside) and not (direction(self.beside) and self.has_ties_code and self.witnesses <= 1)

    @property
    def thing_of_code(self) -> bool:
        """Whether the name has the code beside the mark's name: CM2-MH, a manhole MH."""
        return bool(self.lower_code) and self.lower_code in self.beside

    @property
    def reach(self) -> float:
        """Metres from the mark whose name it bears up to which it is taken for an occupation of it."""
        return VICINITY if self.repeats_mark and self.no_other_code else BESIDE

    @property
    def witness(self) -> bool:
        """Whether its name makes it a witness of the mark, whatever else is said: CM2-N, or CM2-MH of code MH."""
        if not self.borne.mark or self.name_says_check:
            return False
        meant_as_check = self.code_says_check or self.has_ties_code
        letters = "".join(filter(str.isalpha, self.beside))
        if not meant_as_check and len(self.lower_code) > 1 and self.lower_code == letters:
            return True
        return direction(self.beside) and not (meant_as_check and self.witnesses <= 1)
