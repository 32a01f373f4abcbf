"""Registers of control marks read from a text, with what was found wrong with them."""

from pathlib import Path
from typing import Any

from pipeline.control import Form, Register, RegisterFrame, read_register
from pipeline.control.table_form import AS_OURS
from pipeline.problems import Problem, Problems


def read_marks(
    folder: Path, data: str | bytes, form: Form = AS_OURS, *, name: str = "marks.csv", **how: Any
) -> tuple[Register | None, list[Problem]]:
    """What is read of a file with this content, written into the folder: in a grid where ``how`` says nothing else."""
    path = folder / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    problems = Problems()
    frame = RegisterFrame(**{"kind": "projected", "ellipsoid": False, **how})
    return read_register(path, frame, problems, shown=name, form=form), problems.found


def read_all_marks(folder: Path, data: str | bytes, form: Form = AS_OURS, **how: Any) -> Register:
    """The same of a register with which nothing is wrong."""
    register, found = read_marks(folder, data, form, **how)
    assert found == []
    assert register is not None
    return register
