"""Finds degrees with minutes and seconds in their decimals, read as decimal degrees and so kilometres off."""

from collections.abc import Iterator

import numpy as np

from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.plausible.packed import is_packed, unpacked
from pipeline.words import Doubt, counted


def packed_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each export, and for the register, whose degrees seem to be packed.

    Marks that are written likewise agree with such readings, and prove nothing.
    """
    logs = survey.first_pass.files
    for one in survey.first_pass.packed:
        sessions = tuple(np.flatnonzero(logs[one.export].sessions).tolist())
        shown = survey.exports[one.export].shown
        of = f"the longitudes and latitudes of {counted(one.count, 'reading')}"
        yield Doubtful(Doubt.UNITS, _sentence(of, one.first[1]), sessions, shown, one.row)
    register = survey.register
    control = survey.job.control
    as_dms = control is not None and control.angles == "dms"
    if register is not None and not as_dms and _is_packed(register):
        of = f"the longitudes and latitudes of {counted(len(register.names), 'mark')}"
        yield Doubtful(Doubt.UNITS, _sentence(of, float(register.second[0])), None, register.shown, register.lines[0])


def _is_packed(register: Register) -> bool:
    return register.kind == "geographic" and is_packed(register.first, register.second)


def _sentence(of: str, latitude: float) -> str:
    return (
        f"{of} seem to be degrees, minutes and seconds in one number, but are read as decimal degrees, which puts them"
        " kilometres off: neither the first two decimals nor the next two ever reach 60 (a latitude of"
        f" {latitude:.8f} would be {unpacked(latitude)}); if they are, export decimal degrees"
    )
