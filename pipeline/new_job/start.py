"""Writes a job file from the contents of a folder; never overwrites one."""

import os
import re
import unicodedata
from pathlib import Path

from msgspec import Struct

from pipeline.files.atomic_write import atomic_write
from pipeline.job.named_folder import of_windows
from pipeline.new_job.decide import draft_of
from pipeline.new_job.writing import Asked, page_of
from pipeline.problems import JobError, Problem, check_working_folder, named_in_errors, refusals_told, remedy, said_of
from pipeline.sealed import sealed_off

#: Letters that are no others with an accent, and how they are written without.
_LETTERS = str.maketrans(
    {"ß": "ss", "ẞ": "ss", "æ": "ae", "Æ": "ae", "œ": "oe", "Œ": "oe", "ø": "o", "Ø": "o", "đ": "d", "Đ": "d",
     "ł": "l", "Ł": "l", "ð": "d", "Ð": "d", "þ": "th", "Þ": "th", "ı": "i"}
)  # fmt: skip


class Started(Struct, frozen=True):
    """A job file that was written: its path as it is shown, the questions left in it, what was looked at, notes.

    ``lacking`` is the note that is to be read before the questions, "" where there is none; it is the first of them.
    """

    path: str
    asked: tuple[Asked, ...]
    files: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]
    lacking: str = ""


@sealed_off()
@refusals_told()
def new_job(folder: Path, to: Path | None = None) -> Started:
    """Look at a folder of exports and write a job file: into it, or to the path named.

    No path of this machine stands in it, so that the folder can be moved to another. Raises `JobError` where there is
    nothing to start from, or where the job file is there already.
    """
    check_working_folder([folder] if to is None else [folder, to])
    if not folder.is_dir():
        what = "this is a file, not a folder" if folder.exists() else "there is no such folder"
        fix = "name the folder that the exports are in"
        if of_windows(folder):
            fix += " as this system has it: this is a path of Windows, and there are no drives here"
        raise JobError([Problem(str(folder), 0, what, fix)])
    name = job_name(folder.resolve().name)
    path = to if to is not None else folder / f"{name}.toml"
    _see_that_it_is_free(path)
    base = path.parent
    try:
        draft = draft_of(folder, base, str(folder))
        notes = [draft.lacking, *draft.notes] if draft.lacking else draft.notes
        page = page_of(draft, name if to is None else job_name(path.stem))
        _write(path, "\n".join(page.lines) + "\n")
    except OSError as error:
        what = f"it cannot be read or written to: {said_of(error)}"
        raise JobError([Problem(str(error.filename or folder), 0, what, remedy(error))]) from error
    return Started(str(path), tuple(page.asked), tuple(draft.files), tuple(notes), draft.lacking)


def job_name(text: str) -> str:
    """Return a text as the name of a job: small letters, figures and single hyphens."""
    plain = unicodedata.normalize("NFKD", text.translate(_LETTERS)).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-") or "job"


def _see_that_it_is_free(path: Path) -> None:
    if os.path.lexists(path):
        fix = "continue with it, name another one with --to, or remove it"
        raise JobError([Problem(str(path), 0, "there is already a job file here, and it is never overwritten", fix)])
    if not path.parent.is_dir():
        what = "the folder for the job file does not exist"
        raise JobError([Problem(str(path), 0, what, "create it first")])


def _write(path: Path, text: str) -> None:
    """Write a file that is not there yet, whole or not at all. Raises OSError and `JobError`."""
    with atomic_write(path, path.with_name(f".{path.name}.{os.getpid()}")) as draft:
        with named_in_errors(path):
            draft.write_text(text, encoding="utf-8", newline="\n")
        _see_that_it_is_free(path)
