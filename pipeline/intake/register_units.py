"""Units that the headings of a register's columns state, compared with those that its numbers are read in."""

from pipeline.control import Register
from pipeline.files.angle_notations import TO_DEGREES, unread_notation
from pipeline.geodesy.unit_words import is_one
from pipeline.geodesy.units import METRES, Lengths
from pipeline.job.load import LoadedJob
from pipeline.problems import Problems
from pipeline.read.heading_units import another_unit, metres_in_heading, unit_in_heading

_PLAN, _UP, _UNCERTAINTIES = ("easting", "northing"), ("height", "ellipsoid_height"), ("hu95", "vu95")
_ANGLES, _DEGREES = ("longitude", "latitude"), frozenset(["deg", "degree", "degrees", "dd", "°", "dms"])
_NO_ROW = "every mark needs a name and numbers; take the row out where it is no mark"


def check_register_units(loaded: LoadedJob, counted: Lengths, problems: Problems) -> None:
    """Note every column that ``[control.columns]`` maps and whose heading says another unit than it is read in.

    Columns that go by their own names, such as ``height``, say none; ``counted`` is what their numbers count in.
    """
    control = loaded.job.control
    mapped = control.columns.model_dump(exclude_none=True) if control is not None else {}
    for word in (*_PLAN, *_UP, *_UNCERTAINTIES):
        name = mapped.get(word)
        metre = counted.plan if word in _PLAN else counted.up if word in _UP else counted.other
        if isinstance(name, str) and (what := another_unit(name, word, metre)) is not None:
            problems.add(*loaded.where("control", "columns", word), what, _fix(word, metres_in_heading(name), counted))


def check_units_row(register: Register, counted: Lengths, as_dms: bool, problems: Problems) -> None:
    """Note what a row of units below a register's heading says against what its numbers are read in."""
    if register.units_row is None:
        return
    where = register.shown, register.units_row.line
    for word, unit in register.units_row.units.items():
        heading = f"{word} [{unit}]"
        row = f"the row of units below the heading says '{unit}' for {word}"
        if word in _ANGLES:
            if (told := unread_notation(heading, dms=as_dms)) is not None:
                problems.add(*where, f"{row}: it {told}", TO_DEGREES)
            elif unit_in_heading(heading) not in _DEGREES:
                problems.add(*where, f"this row has no mark name, and {word} '{unit}' is no number", _NO_ROW)
            continue
        metre = counted.plan if word in _PLAN else counted.up if word in _UP else counted.other
        if not (said := metres_in_heading(heading)):
            problems.add(*where, f"this row has no mark name, and {word} '{unit}' is no number", _NO_ROW)
        elif another_unit(heading, word, metre) is not None:
            read = next((called for called, metres in METRES.items() if is_one(metre, metres)), "its crs says")
            fix = _fix(word, said, counted).replace("heading is right, else rename it", "row is right, else correct it")
            fix = fix.replace("the unit of the heading", "that unit").replace(", and say so in its heading", "")
            problems.add(*where, f"{row}, and its numbers are read in another unit, {read}", fix)


def _fix(word: str, said: tuple[float, ...], counted: Lengths) -> str:
    units = [f'"{called}"' for called, metres in METRES.items() if metres in said]
    if word in _PLAN:
        return "name the crs that is in the unit of the heading, or give them in that of the crs"
    if word == "height":
        return "name in [control] height the height datum that counts in the unit of the heading, or give metres"
    if not units or (not counted.degrees and not any(is_one(counted.plan, each) for each in said)):
        return "give it in the unit of the rest of the register, and state that in its heading"
    return f"state units = {' or '.join(units)} in [control] if the heading is right, else rename it in the register"
