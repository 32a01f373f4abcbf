"""Finds the column of a register that says from which day its coordinates date: "Datum" is a date in many languages."""

from collections.abc import Sequence

from pipeline.control.register_dates import Days, possible_days
from pipeline.files.no_values import is_no_value
from pipeline.new_job.column_times import A_YEAR, says_times
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.headings import rank
from pipeline.new_job.mapped import plainest
from pipeline.new_job.values import given


def dated_column(register: FileFound) -> str:
    """Return the column that holds nothing but dates and is called so, "" where none is.

    One that is called as times of readings are is it where its days are further apart than those of any export. None
    beside times of day or solutions, which only an export has.
    """
    look, taken = register.look, register.mapped.columns
    free = [name for name in look.names if name not in taken.values()]
    found = plainest("dated", free, lambda name: bool(_days(register, name)))
    found = found or next((name for name in _of_times(register, free) if _over_years(_days(register, name))), None)
    others = [
        name for name in free if name != found and (rank("clock", name) is not None) and given(look.columns[name])
    ]
    return "" if found is None or others or "solution" in taken else found


def dates_alone(register: FileFound) -> str:
    """Return what is said of a register whose times are dates alone, of marks or of readings; "" for another one."""
    found = next(iter(_of_times(register, register.look.names)), "")
    if not found or "solution" in register.mapped.columns:
        return ""
    return (
        f'"{found}" holds dates without times of day, which are taken for those of the marks: if these are readings,'
        " export dates with times of day"
    )


def _of_times(register: FileFound, names: Sequence[str]) -> list[str]:
    """Return the columns that are called as times of readings are and hold dates."""
    return [name for name in names if says_times(name) and _days(register, name)]


def _days(register: FileFound, name: str) -> list[Days]:
    """Return what the dates of a column that holds nothing else may mean; none for another column."""
    texts = [text for text in given(register.look.columns[name]) if not is_no_value(text)]
    found = [days for text in texts if (days := possible_days(text)) is not None]
    return found if len(found) == len(texts) else []


def _over_years(days: Sequence[Days]) -> bool:
    """Tell whether days lie further apart than those of one export."""
    apart = max(first for first, _ in days) - min(last for _, last in days)
    return apart.days * 86_400.0 > A_YEAR
