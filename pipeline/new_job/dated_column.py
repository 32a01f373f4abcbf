"""Finds the column of a register that says from which day its coordinates date: "Datum" is a date in many languages."""

from pipeline.control.register_dates import possible_days
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.headings import rank
from pipeline.new_job.mapped import plainest
from pipeline.new_job.values import given


def dated_column(register: FileFound) -> str:
    """Return the column that holds nothing but dates and is called so, "" where none is.

    None beside times of day or solutions, which only an export has.
    """
    look, taken = register.look, register.mapped.columns
    free = [name for name in look.names if name not in taken.values()]

    def dates(name: str) -> bool:
        texts = given(look.columns[name])
        return bool(texts) and all(possible_days(text) is not None for text in texts)

    found = plainest("dated", free, dates)
    others = [
        name for name in free if name != found and (rank("clock", name) is not None) and given(look.columns[name])
    ]
    return "" if found is None or others or "solution" in taken else found
