"""Asks for a height datum: those in use where the job lies, first what headings and files name."""

import re
from collections.abc import Iterator, Sequence

from pipeline.geodesy.registry import Registered, height_areas, height_datums_at, is_height
from pipeline.geodesy.units import FOOT, SURVEY_FOOT
from pipeline.job.toml_text import quoted
from pipeline.new_job.datum_uses import Extent, by_use, use_of
from pipeline.new_job.heights import height_said
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.zones import countries_near
from pipeline.read.heading_units import metres_in_heading

#: Signs of units behind the names of height datums; others are in metres, but for a few.
_FEET = {"(ft)": FOOT, "(ftUS)": SURVEY_FOOT}

#: Height datums that one lists.
_HEIGHTS = 12
#: What is filled in where no place says which datums are in use.
_LEVELLED = Candidate('"EPSG:...."', "the datum of levelled heights")


def height_question(
    place: tuple[float, float] | None,
    headings: Sequence[str],
    also: tuple[str, ...],
    geoids: Sequence[str],
    named: Sequence[str] = (),
) -> Question:
    """Return the question after the height datum in use at the job's place [deg].

    ``headings`` may name it. ``also`` are other keys that have the same answer, ``geoids`` the grids of the folder that
    cover the job, and ``named`` the codes of the datums that these say that they lead to.
    """
    texts = [*headings, *geoids]
    near = height_datums(place, texts) if place is not None else _anywhere(texts, named)
    if named:
        headed = " ".join(headings).casefold()
        said = {one.code: [word for word in _words(one.name) if word in headed] for one in near}
        exact = {code for code, words in said.items() if any(word[-1].isdigit() for word in words)}
        near = sorted(near, key=lambda one: (one.code not in exact, not said[one.code], one.code not in named))
    candidates = [Candidate(quoted(one.code), f"{one.name}, {use_of(one).words}") for one in near[:_HEIGHTS]]
    candidates.append(Candidate('"ellipsoid"', "heights above the ellipsoid"))
    whose = "the heights of the register" if also else "the heights to be issued"
    asks = f"which height datum are {whose} in?" + (f" target.geoid names {geoids[0]}" if geoids else "")
    if place is not None:
        return Question("target.height", asks, tuple(candidates), also)
    where = "where the job lies is not known here, so none in use there can be named"
    asks += f"{';' if geoids else ''} {where}: for levelled heights write the code of their datum"
    return Question("target.height", asks, tuple(candidates), also, blank=_LEVELLED)


def height_datums(place: tuple[float, float] | None, texts: Sequence[str]) -> list[Registered]:
    """Return the height datums in use at a place [deg], those first that texts name, then by their use.

    None where the place is not known.
    """
    near = by_use(height_datums_at(*place), countries_near(*place)) if place is not None else []
    said = " ".join(texts).casefold()
    units = {metre for text in texts if height_said(text) is not None for metre in metres_in_heading(text)}

    def worth(one: Registered) -> tuple[bool, bool, bool]:
        # NZVD2016 in a heading is NZVD2016 first, then NZVD of another year
        exact = any(word in said for word in _words(one.name) if word[-1].isdigit())
        return (
            not exact,
            not any(word in said for word in _words(one.name)),
            bool(units) and _FEET.get(one.name.split()[-1], 1.0) not in units,
        )

    return sorted(near, key=worth)


def _anywhere(texts: Sequence[str], codes: Sequence[str]) -> list[Registered]:
    """Return the height datums that texts name by a word with a number, as "NAVD88", then those of all the world.

    Those of some ``codes`` are named as well.
    """
    said = {word for text in texts for word in re.findall(r"[^\W_]+", text.casefold())}
    numbered = [one for one in height_areas() if any(word in said and word[-1].isdigit() for word in _words(one.name))]
    named = [*(one for one in height_areas() if one.code in codes), *numbered]
    world = [one for one in height_areas() if use_of(one).extent is Extent.GLOBAL]
    return [one for one in dict.fromkeys((*by_use(named, []), *by_use(world, []))) if is_height(one)]


def _words(name: str) -> Iterator[str]:
    """Yield the words by which headings and files name a height datum: "egm96", "nap"."""
    for word in re.findall(r"[a-z]{2,}\d*", name.casefold()):
        letters = word.rstrip("0123456789")
        yield from (one for one in {word, letters} if len(one) > 2 and one not in ("height", "msl", "egm"))
