"""Reads from headings the direction of precisions, and whether they are standard uncertainties."""

import re
from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.near import listed
from pipeline.new_job.headings import is_known, rank
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.mean_errors import is_either
from pipeline.new_job.values import no_number, numbers_of, units_differ, with_unit
from pipeline.read.heading_units import metres_in_heading
from pipeline.read.precision_headings import WIDER, PrecisionHeading, Side, precision_in_heading

_WORDS = ("sigma_east", "sigma_north", "sigma_up", "each", "radial", "precision")
#: Metres that half of the precisions of readings stay below, those of floats too, and half of them stay above; of
#: differences that are called by a letter alone, fewer. Ours, no source.
_MOST, _LEAST, _SMALL = 2.0, 1.0e-4, 0.5
#: Which sides each word takes, the plainest first.
_TAKES = {
    "sigma_east": (Side.EAST, Side.X), "sigma_north": (Side.NORTH, Side.Y), "sigma_up": (Side.UP, Side.Z, Side.H),
}  # fmt: skip
#: Words of precisions that are mapped, and of the numbers of a place; a broken number.
_MAPPED = (*_TAKES, "sigma_horizontal", "drms")
_PLACES = ("longitude", "latitude", "easting", "northing", "height")
_BROKEN = re.compile(r"[-+]?\d*([.,])\d+")
#: Headings of two columns that differ in the letter of their axis alone: "dE", "dN"; "CQ_E", "CQ_N".
_AXIS = re.compile(
    r"(?P<stem>[^\W\d_]{1,6}?)[ _.-]?(?P<axis>[ENXYUHZ])|(?P<first>[ENXYUHZ])[ _.-]?(?P<behind>[^\W\d_]{1,6})"
)
_QUOTE = '"'
_SAY_PLAN = "map it below as sigma_horizontal if it is per direction, as drms if of both together"
_SAY_ROOT = "export standard deviations, its square roots, instead; without them those of [quality] are used"
_SAY = "map it below as sigma_east, sigma_north or sigma_up, as sigma_horizontal (per direction) or drms (of both)"


def is_wider(heading: str) -> bool:
    """Tell whether a heading of a precision says that it is no standard uncertainty: "H Prec (95%)"."""
    plain = re.sub(r"[(\[{]?\s*" + WIDER.pattern + r"\s*%?\s*[)\]}]?", " ", heading, flags=re.IGNORECASE).strip(" _")
    said = precision_in_heading(heading)
    return bool(WIDER.search(heading)) and (
        (said is not None and said.wider)
        or any(rank(word, each) is not None for word in _WORDS for each in (plain, heading))
    )


def is_of_either(heading: str) -> bool:
    """Tell whether a heading leaves open whether it is of the plan or of the height, as sH does."""
    return rank("each", heading) is not None and rank("sigma_up", heading) is not None


def are_lengths(values: Floats) -> bool:
    """Tell whether (n,) numbers under a heading that means satellites or a precision (sV) are lengths: broken ones."""
    known = values[np.isfinite(values)]
    return bool((known != np.floor(known)).any())


def is_score(texts: Sequence[str]) -> bool:
    """Tell whether texts are broken numbers, which are no words of anything; 4.0 of a spreadsheet is none."""
    values = numbers_of(texts)
    return values is not None and are_lengths(values)


def is_precision(heading: str) -> bool:
    """Tell whether a heading says a precision, of whatever kind and direction: it is no position then."""
    return precision_in_heading(heading) is not None


def of_size(texts: Sequence[str], heading: str) -> str:
    """Return why numbers are no standard uncertainties in metres, "" where they may be."""
    values = numbers_of(texts)
    if values is None:
        return "it does not hold numbers"
    if (odd := no_number(texts)) is not None:
        return f'some cells hold no number, such as "{odd}": rows with one could not be read'
    scale = (metres_in_heading(with_unit(heading, texts)) or (1.0,))[0]
    known = values[np.isfinite(values)]
    if (known < 0.0).any():
        return "it has negative numbers, which cannot be precisions"
    middle = float(np.median(known)) * scale
    if middle > _MOST:
        return f"values around {np.median(known):g} cannot be metres: if they are millimetres, add [mm] to the heading"
    if middle < _LEAST or (scale == 1.0 and not are_lengths(values)):
        return "its numbers cannot be precisions"
    return ""


def take_by_side(columns: Mapping[str, Sequence[str]], found: Mapped, free: list[str]) -> None:
    """Take precisions along each axis that no usual heading names, and that their headings say plainly.

    East and north are taken together or not at all. What does not say a standard deviation is taken for one, and told.
    """
    stated = {name: each for name in free if (each := precision_in_heading(name)) is not None and _is_taken(each)}
    stated = {name: each for name, each in stated.items() if not of_size(columns[name], name)}
    taken: dict[str, str] = {}
    for word, sides in _TAKES.items():
        if word not in found.columns:
            fitting = [name for name, each in stated.items() if each.side in sides and _is_of(each.side, found, taken)]
            fitting.sort(key=lambda name: (sides.index(stated[name].side), not stated[name].sigma))
            taken |= {word: fitting[0]} if fitting else {}
    flat = {"sigma_east", "sigma_north"}
    if len(flat & (taken.keys() | found.columns.keys())) == 1:
        taken = {word: name for word, name in taken.items() if word not in flat}
    found.columns |= taken
    for name in taken.values():
        free.remove(name)
    if unsaid := [name for name in taken.values() if not stated[name].sigma]:
        found.notes.append(
            f"{listed(unsaid, _QUOTE)}: read as standard deviations, one sigma, as nothing in the headings states"
            " another measure; if the export's program means 95 % or two sigma by it, delete the line below"
        )


def leave_other_signs(columns: Mapping[str, Sequence[str]], found: Mapped) -> None:
    """Map no precision whose decimal sign is not that of positions and heights: a run reads one sign in a file."""
    signs = {sign for word in _PLACES for sign in _signs(columns.get(found.columns.get(word, ""), ()))}
    for word in _MAPPED:
        name = found.columns.get(word, "")
        if len(signs) == 1 and (other := _signs(columns.get(name, ())) - signs):
            of_these, of_others = ("comma", "point") if "," in other else ("point", "comma")
            why = f"its numbers have a decimal {of_these} and those of positions or heights a {of_others}"
            found.left.append((name, f"{why}: export them all with one sign and map it as {word}"))
            del found.columns[word]


def _signs(texts: Sequence[str]) -> set[str]:
    return {found[1] for text in texts if (found := _BROKEN.fullmatch(text.strip())) is not None}


def leave_other_units(columns: Mapping[str, Sequence[str]], found: Mapped) -> None:
    """Map no precision whose heading says one unit and the row of units below it another: a run reads no such file."""
    for word in _MAPPED:
        name = found.columns.get(word, "")
        if name and (unit := units_differ(name, columns.get(name, []))):
            why = f"the row of units below it says {unit}: write one unit in both, and map it as {word}"
            found.left.append((name, why))
            del found.columns[word]


def _is_taken(said: PrecisionHeading) -> bool:
    return said.plain and not said.wider and not said.square


def _is_of(side: Side, found: Mapped, taken: Mapping[str, str]) -> bool:
    """Tell whether H may be the height: beside precisions to the east."""
    return side is not Side.H or "sigma_east" in {*found.columns, *taken}


def left_precisions(columns: Mapping[str, Sequence[str]], found: Mapped, free: Sequence[str]) -> list[tuple[str, str]]:
    """Return columns that look like precisions and are not taken, by their headings or their numbers, with why."""
    explained = dict(found.left)
    words = {side: word for word, sides in _TAKES.items() for side in sides}
    left = []
    for name in free:
        stated = precision_in_heading(name)
        if stated is None or name in explained or numbers_of(columns[name]) is None:
            continue
        if stated.square:
            left.append((name, f"it looks like a variance, which is not read: {_SAY_ROOT}"))
        elif why := of_size(columns[name], name):
            left.append((name, f"its heading looks like a precision, but {why}"))
        elif stated.side is Side.H and (up := found.columns.get("sigma_up")) is not None and _is_beside(up):
            left.append((name, f'it looks like the horizontal precision beside "{up}": {_SAY_PLAN}'))
        elif _is_taken(stated) and (taken := found.columns.get(words.get(stated.side, ""))) is not None:
            left.append((name, f'it also looks like a precision in the same direction as "{taken}", which is used'))
        else:
            left.append((name, f"it looks like a precision, but not clearly in one direction and of one sigma: {_SAY}"))
    explained |= dict(left)
    alike = _alike([name for name in free if name not in explained and (is_either(name) or not is_known(name))])
    for names in alike:
        sizes = [numbers_of(columns[name]) for name in names]
        if all(one is not None and _may_be_precisions(one) for one in sizes):
            left += [
                (name, f"judging by their values, {listed(names, _QUOTE)} may be precisions along axes: if so, {_SAY}")
                for name in names
            ]
    return left


def _is_beside(up: str) -> bool:
    """Tell whether a heading says the height in other words than H, which is the plan then."""
    said = precision_in_heading(up)
    return said is None or said.side is not Side.H


def _alike(names: Sequence[str]) -> list[list[str]]:
    """Return the columns whose headings differ in the letter of an axis alone, of which there are two at least."""
    found: dict[tuple[str, str], list[str]] = {}
    for name in names:
        if match := _AXIS.fullmatch(re.sub(r"\s*[(\[][^()\[\]]*[)\]]\s*$", "", name.strip())):
            found.setdefault((match["stem"] or "", match["behind"] or ""), []).append(name)
    return [each for each in found.values() if len(each) > 1]


def _may_be_precisions(values: Floats) -> bool:
    known = values[np.isfinite(values)]
    return bool((known >= 0.0).all() and len(np.unique(known)) > 1 and _LEAST < np.median(known) < _SMALL)
