"""Tells a damaged file of the installation from a fault in the program: one cut short or emptied, as by a full disk.

Python says of it what only programmers read, and the library of the command line takes one such error for an abort.
Knows nothing of the rest: any of it may be what is damaged.
"""

import sys
from types import TracebackType

FIX = (
    "free some space if the disk is full; a .pyc file may be deleted, as it is made again; else install tiedown again:"
    " python -m pip install --force-reinstall --no-cache-dir, and what it was installed from"
)

#: In which function of Python's own a compiled file is read, and where that is.
_READ, _PYTHON = "_compile_bytecode", "<frozen importlib"
#: How Python and the system begin or end to say that a file cannot be loaded, be it compiled or a library.
_SAYS = ("Non-code object in", "file too short", "invalid ELF header", "cannot read file data")
#: So many errors that led to one another are looked at.
_CHAIN = 20


def damaged_file(error: BaseException) -> str | None:
    """Return which file of the installation is damaged where that is what an error says; None where it is not."""
    one: BaseException | None = error
    for _ in range(_CHAIN):
        if one is None:
            return None
        if (found := _file(one)) is not None:
            return found
        one = one.__cause__ or one.__context__
    return None


def what(path: str) -> str:
    """Return in words what is wrong."""
    return f"a file of the installation is damaged: {path}"


def tell(path: str, *, as_json: bool) -> int:
    """Print what is wrong where nothing else may be loaded, as `faults.report` would; return the exit code."""
    if as_json:
        import json

        problem = {"file": path, "line": 0, "what": what(path), "fix": FIX}
        entry = {"job": "tiedown", "file": "tiedown", "outcome": "fault", "exit_code": 1, "problems": [problem]}
        print(json.dumps(entry, indent=2, ensure_ascii=True), flush=True)
    print(f"tiedown: {what(path)}\n      {FIX}", file=sys.stderr, flush=True)
    return 1


def _file(error: BaseException) -> str | None:
    if isinstance(error, SyntaxError):
        return error.filename if error.filename and error.filename.endswith(".py") else None
    if isinstance(error, ImportError) and any(sign in str(error) for sign in _SAYS):
        return error.path or str(error)
    if isinstance(error, EOFError | ValueError | TypeError):
        return _compiled(error.__traceback__)
    return None


def _compiled(trace: TracebackType | None) -> str | None:
    """Return the compiled file that was being read when an error was raised."""
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    if trace is None:
        return None
    frame = trace.tb_frame
    if frame.f_code.co_name != _READ or not frame.f_code.co_filename.startswith(_PYTHON):
        return None
    return str(frame.f_locals.get("bytecode_path") or frame.f_locals.get("name"))
