"""Decides the unit of lengths and the code page of a file, of an export and of the register alike, or asks."""

from collections.abc import Mapping

from pipeline.geodesy.unit_words import is_one
from pipeline.geodesy.units import FOOT
from pipeline.job.toml_text import quoted
from pipeline.new_job.encodings import CodePages
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.headings import feet_of
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.stated_above import headed, unit_stated
from pipeline.new_job.values import unit_in_cells
from pipeline.read.heading_units import metres_in_heading


def units_of(one: FileFound) -> State:
    """Return the unit that headings, a row of units below or lines above them state where it is no metre, else None."""
    names = {word: one.mapped.columns.get(word, "") for word in ("easting", "northing", "height")}
    heads = {word: headed(one.look, name, word) for word, name in names.items()}
    says = "as a heading says" if heads == names else "as the row of units below the header says"
    if any(unit_in_cells(one.look.columns.get(name, [])) for name in names.values()):
        says = "as the units behind its numbers say"
    above = (unit_stated(one.look, name, word) for word, name in names.items())
    if (first := next((each for each in above if each is not None), None)) is not None:
        says = f"as {first.said.shown}, {one.look.stands}, says"
    if _in_two_units(heads):
        if one.mapped.height == "level":
            return None  # the grid and the height datum say a unit each
        plan, up = (quoted(names[word]) for word in ("easting", "height"))
        asks = (
            f"which unit are lengths in? {plan} and {up} state two, and ellipsoidal heights are read in the unit of"
            " the eastings: export both in that unit, state it in the heading, and run `tiedown new` again"
        )
        return Question("units", asks)
    if one.mapped.feet == "us-survey-foot":
        return Known('"us-survey-foot"', says)
    if one.mapped.feet:
        stated = [metres_in_heading(head) for head in heads.values()]
        if all(metres == (FOOT,) for metres in stated if metres):
            return Known('"foot"', says)
        asks = f"{says.removeprefix('as ')} feet: which foot?"
        if feet_of(heads["easting"]):
            asks += (
                " eastings and northings in feet need a crs in that foot: beside one in metres, export them in metres"
            )
        elif one.mapped.kind == "plane":
            asks += (
                " beside eastings and northings in metres, give the heights in metres: each file is read in one unit"
            )
        candidates = (Candidate('"foot"', "0.3048 m"), Candidate('"us-survey-foot"', "1200/3937 m"))
        return Question("units", asks, candidates)
    return None


def _in_two_units(heads: Mapping[str, str]) -> bool:
    """Tell whether headings say another unit of the heights than of the eastings and northings."""
    plan, up = (metres_in_heading(heads[word]) for word in ("easting", "height"))
    return bool(plan and up) and not any(is_one(each, other) for each in plan for other in up)


def encoding_of(one: FileFound, pages: CodePages, key: str) -> State:
    """Return the code page of a text that is no UTF-8, or the question after it, with words as each page reads them."""
    told = [f"reads {', '.join(words)}" for words in pages.words]
    if len(pages.names) == 1:
        return Known(quoted(pages.names[0]), f"as it is not UTF-8; {told[0]}")
    asks = f"which encoding is {one.look.shown} in? its letters beyond ASCII fit several code pages"
    also = "; names and words of it that are written below are as the first page reads them: for another page save the"
    asks += f"{also} file as UTF-8 and run `tiedown new` again" if _quotes_words(one) else ""
    candidates = tuple(Candidate(quoted(name), why) for name, why in zip(pages.names, told, strict=True))
    return Question(key, asks, candidates)


def _quotes_words(one: FileFound) -> bool:
    """Tell whether a job file repeats cells of a file that are spelt otherwise in each code page."""
    repeated = ("name", "mark", "code", "base", "solution")
    names = [one.mapped.columns[word] for word in repeated if word in one.mapped.columns]
    return any(not text.isascii() for name in names for text in one.look.columns[name])
