"""Maps precisions named by an axis letter (sX, sY, sZ) to the direction of that axis of the positions."""

from collections.abc import Mapping

from pipeline.job.toml_text import value_text
from pipeline.new_job.headings import axis_of, bare, letter_of
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.questions import Candidate, Question
from pipeline.read.precision_headings import Side, precision_in_heading

#: Headings of precisions along an axis, without accents and signs.
_STEMS = ("s", "sd", "std", "stddev", "sigma", "σ")
_LETTER = {f"{stem}{letter}": letter for stem in _STEMS for letter in "xyz"}
_LETTERED = (Side.X, Side.Y, Side.Z)
#: The side on which each word of a position lies.
_SIDES = {"easting": "east", "longitude": "east", "northing": "north", "latitude": "north"}
_USUAL = {"x": "east", "y": "north", "z": "up"}
_GEOCENTRIC = (
    "it is along a geocentric axis, and no key takes such a precision: export precisions to the east, north and up"
)


def axis_letter(heading: str) -> str:
    """Return the letter of the axis along which a precision is, "" for a heading of anything else."""
    said = precision_in_heading(heading)
    if said is not None and said.plain and not (said.wider or said.square) and said.side in _LETTERED:
        return said.side.name.lower()
    return _LETTER.get(bare(heading), "")


def by_axes(found: Mapped, free: list[str]) -> dict[str, str]:
    """Return precisions that go with another side than their letter is usually of, by our words, off ``free``.

    Those of which it is not known are noted with why, and are taken off too.
    """
    sides = _sides(found.columns)
    lettered = {name: letter for name in free if (letter := axis_letter(name))}
    flat = [name for name, letter in lettered.items() if letter != "z"]
    # X and Y of a grid may stand beside the positions that are taken
    of_grid = bool(sides) or any(letter_of(name) for name in free)
    other: dict[str, str] = {}
    for name, letter in lettered.items():
        if found.kind == "geocentric":
            why = _GEOCENTRIC
        elif letter == "z" and (not flat or of_grid):
            continue
        elif letter in sides:
            why = ""
        elif letter == "z":
            why = "beside precisions along X and Y it may be along a geocentric axis"
        else:
            why = f"no heading of the positions shows which direction {letter.upper()} is"
        free_of = why or sides[letter] != _USUAL[letter]
        if free_of:
            free.remove(name)
        if why:
            found.left.append((name, why))
        elif free_of:
            other.setdefault(f"sigma_{sides[letter]}", name)
    return other


def _sides(columns: Mapping[str, str]) -> dict[str, str]:
    """Return the side to which X and Y point, by the headings of positions."""
    found = {}
    for word, side in _SIDES.items():
        heading = columns.get(word, "")
        axis = axis_of(heading)
        if letter := axis[1] if axis is not None else letter_of(heading):
            found[letter] = side
    if len(found) == 1:  # the other axis is the other side
        ((letter, side),) = found.items()
        found["y" if letter == "x" else "x"] = "north" if side == "east" else "east"
    return found


def turned_sigmas(columns: Mapping[str, str], way: bool | None) -> dict[str, str]:
    """Return the precisions along X and Y by our words, where X is the northing (``way``); none where it is open."""
    words = {
        word: name for word, name in columns.items() if axis_letter(name) and word in ("sigma_east", "sigma_north")
    }
    if way is None:
        return {}
    other = {"sigma_east": "sigma_north", "sigma_north": "sigma_east"}
    return {other[word] if way else word: name for word, name in words.items()}


def sigma_questions(columns: Mapping[str, str | int], names: Mapping[str, str]) -> list[Question]:
    """Return questions after precisions along X and Y, whose answers follow those of easting and northing.

    ``columns`` are as a job file names them, ``names`` the headings.
    """
    asks = []
    for word, other in (("sigma_east", "sigma_north"), ("sigma_north", "sigma_east")):
        values = [
            (columns[each], names[each]) for each in (word, other) if each in columns and axis_letter(names[each])
        ]
        candidates = tuple(
            Candidate(
                value_text(value),
                f"{axis_letter(name).upper()} is that direction",
            )
            for value, name in values
        )
        if candidates:
            asks.append(
                Question(
                    word,
                    "the same answer as easting and northing: the precision goes with them",
                    candidates,
                    repeats=True,
                )
            )
    return asks
