"""Units that the headings of a register's columns state, held against those that its numbers are read in."""

from pipeline.geodesy.units import METRES, Lengths
from pipeline.job.load import LoadedJob
from pipeline.problems import Problems
from pipeline.read.heading_units import metres_said

_SAME = 1e-7
_PLAN, _UP, _UNCERTAINTIES = ("easting", "northing"), ("height", "ellipsoid_height"), ("hu95", "vu95")


def check_register_units(loaded: LoadedJob, counted: Lengths, problems: Problems) -> None:
    """Note every column that ``[control.columns]`` maps and whose heading says another unit than it is read in.

    Columns that go by their own names, such as ``height``, say none; ``counted`` is what their numbers count in.
    """
    control = loaded.job.control
    mapped = control.columns.model_dump(exclude_none=True) if control is not None else {}
    for word in (*_PLAN, *_UP, *_UNCERTAINTIES):
        name = mapped.get(word)
        said = metres_said(name) if isinstance(name, str) else ()
        metre = counted.plan if word in _PLAN else counted.up if word in _UP else counted.other
        if said and all(abs(metre / metres - 1.0) > _SAME for metres in said):
            read = next((called for called, metres in METRES.items() if abs(metre / metres - 1.0) < _SAME), "its crs's")
            what = f'the heading "{name}" ({word}) says another unit than its numbers are read in, {read}'
            problems.add(*loaded.where("control", "columns", word), what, _fix(word, said, counted))


def _fix(word: str, said: tuple[float, ...], counted: Lengths) -> str:
    units = [f'"{called}"' for called, metres in METRES.items() if metres in said]
    if word in _PLAN:
        return "name the crs that is in the unit of the heading, or give them in that of the crs"
    if word == "height":
        return "name in [control] height the height datum that counts in the unit of the heading, or give metres"
    if not units or (not counted.degrees and all(abs(counted.plan / metres - 1.0) > _SAME for metres in said)):
        return "give it in the unit in which the rest of the register is read, and say so in its heading"
    return f"state units = {' or '.join(units)} in [control] if the heading is right, else rename it in the register"
