"""Doubts impossible standard uncertainties in job file and register: millimetres read as metres."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.stood_on import Stood
from pipeline.geodesy.uncertainty import CIRCLE_95, NORMAL_95
from pipeline.intake.file_log import LARGE_SIGMA, LEAST_SIGMA
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.words import Doubt, counted

#: Parts per million beyond which no solution is a fixed one, nor a scale of stated uncertainties one of a receiver's
#: optimism. Ours, no source.
_PPM, MOST_SCALE = 100.0, 20.0
#: Metres beyond which no separation of a geoid model is uncertain: the oldest global ones are good to 1 m.
_GEOID = 2.0
#: Marks that a sentence names.
_NAMED = 3
_FOR_METRES = "lengths are metres, so 8 mm are written 0.008"


def uncertainty_doubts(survey: Survey, stood: Stood | None) -> Iterator[Doubtful]:
    """Yield a doubt for each standard uncertainty of job file and register that no fixed solution and no mark has.

    Every 95 % uncertainty of what hangs on it is wrong, and so are the weights of ties.
    """
    job = survey.job
    yield from _of_table(survey, ("quality",), job.quality, unstated(survey))
    if (geoid := job.target.geoid_sigma) is not None and geoid > _GEOID:
        file, line = survey.where("target", "geoid_sigma")
        what = f"target.geoid_sigma = {geoid:g} cannot be right: lengths are metres, so 20 mm are written 0.020"
        yield Doubtful(Doubt.PRECISION, what, None, Path(file).name, line)
    for number, block in enumerate(job.points):
        yield from _of_table(survey, ("points", number), block, ())
    if job.control is not None:
        yield from _of_table(survey, ("control",), job.control, ("sigma_horizontal", "sigma_vertical"))
        yield from _of_register(survey, stood)
    for window in survey.windows:
        session, (file, line) = window.session, window.where
        stated: list[tuple[str, object, str]]
        stated = [(f"setup.{name}", session.setup, name) for name in ("sigma_east", "sigma_north", "sigma_up")]
        stated += [(f"shift.{name}", session.shift, name) for name in ("sigma_horizontal", "sigma_vertical")]
        for shown, table, name in stated:
            value = getattr(table, name, None)
            if value is not None and _large(name, value):
                what = f"session {session.name}: {shown} = {value:g} cannot be right: {_FOR_METRES}"
                yield Doubtful(Doubt.PRECISION, what, (window.index,), Path(file).name, line)


def unstated(survey: Survey) -> tuple[str, ...]:
    """Return which keys of ``[quality]`` say how uncertain some reading is: what its export does not state."""
    plan, up = np.any([log.unstated for log in survey.first_pass.files], axis=0)
    return ("centring", *(["sigma_horizontal"] if plan else []), *(["sigma_vertical"] if up else []))


def _large(name: str, value: float) -> bool:
    return value > LARGE_SIGMA[name in ("sigma_vertical", "sigma_up")]


def _of_table(
    survey: Survey, at: tuple[str] | tuple[str, int], table: object, keys: tuple[str, ...]
) -> Iterator[Doubtful]:
    """Yield a doubt for each of a table's ``keys``, and of those that are a factor; ``at`` is where it stands."""
    name, found = at[0], []
    for key in keys:
        value: float = getattr(table, key)
        if _large(key, value):
            found.append((key, f"{name}.{key} = {value:g} cannot be right: {_FOR_METRES}"))
        elif name == "quality" and key != "centring" and value < LEAST_SIGMA:
            found.append((key, f"{name}.{key} = {value:g} m cannot be right: nothing is observed so well"))
    for key, most, why in (
        ("ppm", _PPM, "a baseline's uncertainty grows by one or two parts per million, written 1 or 2"),
        ("scale", MOST_SCALE, "no receiver is that much worse than stated"),
        ("scale_vertical", MOST_SCALE, "no receiver is that much worse than stated"),
    ):
        extreme: float | None = getattr(table, key, None)
        if extreme is not None and extreme > most:
            found.append((key, f"{name}.{key} = {extreme:g} cannot be right: {why}"))
    for key, what in found:
        file, line = survey.where(*at, key)
        yield Doubtful(Doubt.PRECISION, what, None, Path(file).name, line)


def _of_register(survey: Survey, stood: Stood | None) -> Iterator[Doubtful]:
    """Yield a doubt where marks that are occupied have a stated uncertainty that no control mark has.

    One that is very small is no slip: it says that the mark is held fixed.
    """
    register = survey.register
    if register is None or stood is None:
        return
    set_up = [(window.index, register.find(one.mark)) for window in survey.windows if (one := window.session.setup)]
    under_bases = np.array([pair for pair in set_up if pair[1] is not None], np.int64).reshape(-1, 2)
    session, on = (np.append(one, more) for one, more in zip((stood.session, stood.mark), under_bases.T, strict=True))
    plan = np.maximum(register.sigma_east, register.sigma_north)
    used = np.unique(on)
    for sigma, column, most, factor in (
        (plan, 0, LARGE_SIGMA[0], CIRCLE_95),
        (register.sigma_up, 1, LARGE_SIGMA[1], NORMAL_95),
    ):
        name = ("hu95", "vu95")[column]
        stated = used[register.stated[used, column]]
        odd = stated[sigma[stated] > most]
        if len(odd):
            marks = ", ".join(f"{register.names[mark]} ({sigma[mark] * factor:.5g} m)" for mark in odd[:_NAMED])
            more = and_more(len(odd) - _NAMED)
            what = (
                f"{name} of {counted(len(odd), 'occupied mark')} cannot be right: {marks}{more}: millimetres or"
                " centimetres read as metres"
            )
            sessions = tuple(np.unique(session[np.isin(on, odd)]).tolist())
            yield Doubtful(Doubt.PRECISION, what, sessions, survey.register_file, register.lines[int(odd[0])])
