"""Reads a CRS from a file (.prj, .wkt, .projjson) in the place of its name."""

import os
import re
from collections.abc import Callable
from pathlib import Path

from pipeline import limits
from pipeline.files.regular_files import read_whole
from pipeline.job.job_rules import check_file
from pipeline.problems import NOT_TEXT, Problems, is_text

#: What the name of such a file ends in; no code, WKT, PROJJSON or PROJ string does.
ENDINGS = (".prj", ".wkt", ".wkt2", ".projjson")

_CRS = re.compile(r"[A-Za-z_]\w*\s*\[.*\]|\{.*\}|\+\w+.*", re.DOTALL)


def is_file(text: str) -> bool:
    """Tell whether the text of a CRS names a file."""
    return text.strip().lower().endswith(ENDINGS)


def content_of(
    text: str, folder: Path, show: Callable[[Path], str], where: tuple[str, int], problems: Problems
) -> str | None:
    """Return what stands for a CRS: the content of the file that ``text`` names from ``folder``, else ``text``.

    None, with what is wrong among ``problems``, where the file is not there, is no text, is larger than any CRS, or
    holds something else.
    """
    if not is_file(text):
        return text
    path = Path(os.path.realpath(folder / text.strip()))
    if not is_text(path):
        problems.add(*where, f"the CRS file cannot be read: {NOT_TEXT[0]}", NOT_TEXT[1])
        return None
    before, shown = len(problems.found), show(path)
    check_file(path, shown, "the CRS file", limits.TABLE, where, problems)
    if len(problems.found) > before:
        return None
    try:
        content = read_whole(path, limits.CRS_FILE).decode("utf-8-sig").strip()
    except OSError as error:
        problems.add(
            *where, f"the CRS file {shown} cannot be read: {error.strerror}", "check that it is the right file"
        )
        return None
    except UnicodeDecodeError:
        content = ""
    if "\0" in content or not _CRS.fullmatch(content):
        problems.add(
            *where,
            f"{shown} contains no CRS",
            "a .prj or .wkt file begins as PROJCS[ or PROJCRS[; name the one that belongs to the grid",
        )
        return None
    return content
