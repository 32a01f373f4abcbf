"""Puts the uncertainties of a changed register in its own words: radii of 95 %, where a record keeps sigmas alone."""

from collections.abc import Mapping, Sequence

from pipeline.control import Register
from pipeline.geodesy.uncertainty import CIRCLE_95, NORMAL_95
from pipeline.issue.record_types import RegisterMark

#: What a record calls the uncertainties of a mark, what a register does, and how many times the former it is.
_CALLED = (("sigma horizontal", "hu95", CIRCLE_95), ("sigma vertical", "vu95", NORMAL_95))


def as_stated(
    before: Sequence[RegisterMark],
    after: Sequence[RegisterMark],
    register: Register,
    unstated: tuple[float, float],
    *,
    as_before: bool,
) -> tuple[list[Mapping[str, object]], list[Mapping[str, object]]]:
    """Return the marks that both of two issues use, with what of their uncertainties changed as a register states it.

    Args:
        before: the rows of the register that the last issue used, as its record has them.
        after: those of now.
        register: the register.
        unstated: standard uncertainties [m] of a mark for which it states none, horizontal and vertical.
        as_before: whether those are what they were; else one that is not stated now stays as the record has it.
    """
    known = {row["mark"]: row for row in before}
    pairs = [(known[row["mark"]], row, register.find(row["mark"])) for row in after if row["mark"] in known]
    then, now = list[Mapping[str, object]](), list[Mapping[str, object]]()
    for old, new, number in pairs:
        was, is_ = dict[str, object](old), dict[str, object](new)
        for place, (key, called, times) in enumerate(_CALLED):
            stated = number is not None and bool(register.stated[number, place])
            one, other = str(was[key]), str(is_[key])
            if one != other and (stated or as_before):
                was[called] = "" if stated and one == f"{unstated[place]:.6g}" else _radius(one, times)
                is_[called] = _radius(other, times) if stated else ""
                del was[key], is_[key]
        then.append(was)
        now.append(is_)
    return then, now


def _radius(sigma: str, times: float) -> str:
    """Return a sigma [m] as what holds in 95 of 100 cases; a record has six digits of it."""
    return f"{float(sigma) * times:.5g} m"
