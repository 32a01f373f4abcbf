"""A job file read as TOML, with the line of every key; of what is no TOML it is told what to write instead."""

import re
import tomllib
from pathlib import Path
from typing import Any

from pipeline import limits
from pipeline.files.regular_files import NoFile, read_whole
from pipeline.job.key_lines import KeyLines, key_lines
from pipeline.job.named_folder import long_key
from pipeline.problems import Problems


def read_bytes(path: Path, shown: str, problems: Problems) -> bytes | None:
    """Return the content of a job file, None and a problem where it cannot be read."""
    try:
        return read_whole(path, limits.JOB_FILE)
    except FileNotFoundError:
        problems.add(shown, 0, "there is no such job file", "check the current folder")
        return None
    except NoFile as error:
        what = f"this is {error.kind}, not a job file" if error.kind else f"this is no job file: {error}"
        fix = (
            "name the .toml file in it"
            if path.is_dir()
            else "give a .toml job file (a table of sessions is named inside it)"
        )
        problems.add(shown, 0, what, fix)
        return None
    except OSError as error:
        problems.add(shown, 0, f"the job file cannot be read: {error.strerror}")
        return None


def decoded(data: bytes, shown: str, problems: Problems) -> str | None:
    """Return its text, None and a problem where it is not UTF-8."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        problems.add(shown, line, "the job file is not UTF-8 text", "save it with the encoding UTF-8")
        return None


def parse(text: str, shown: str, problems: Problems) -> tuple[dict[str, Any], KeyLines] | None:
    """Return its keys, and the lines on which they stand; None and a problem where it is no TOML."""
    if (deep := long_key(text)) is not None:
        what = "a dotted key has more parts here than any key of a job file"
        problems.add(shown, text.count("\n", 0, deep.start(1)) + 1, what, "configs/KEYS.md lists the keys")
        return None
    try:
        return tomllib.loads(text), key_lines(text)
    except RecursionError:
        what = "brackets are nested too deeply here for a job file"
        problems.add(shown, _deepest(text), what, "check that each [ and { is closed where it should be")
        return None
    except ValueError as error:  # a TOMLDecodeError, or a number of thousands of figures
        what = re.sub(r" \(at [^()]*\)$", "", str(error))
        place = re.search(r"at line (\d+), column (\d+)\)$", str(error))
        line = int(place[1]) if place else len(text.rstrip().splitlines()) or 1
        column = f" in column {place[2]}" if place else ""
        said = what.split(":")[0] if "4300" in what else what
        if what.startswith("Cannot overwrite a value"):
            key, equals, _ = text.split("\n")[line - 1].partition("=")
            which = f"the key {key.strip()}" if equals else "a key"  # a list may end lines below its key
            problems.add(shown, line, f"{which} is there twice in its table", "keep one of the two lines")
            return None
        problems.add(
            shown,
            line,
            f"the job file cannot be read from here on{column} (TOML: {said[:1].lower()}{said[1:]})",
            _toml_fix(text.split("\n")[line - 1]),
        )
        return None


#: What stands right of the = in a line that is no TOML, and what to write instead; the first that fits is told.
_NO_TOML = (
    (r"-?\d+,\d+", "the decimal sign is a point here, as in 0.05"),
    (r"true|false|yes|no|on|off", "write true or false, in small letters and without quotes"),
    (
        r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}.*",
        "write a time as 2026-03-02T07:30:00+13:00: year first, with its offset from UTC, without quotes",
    ),
)


def _toml_fix(line: str) -> str:
    """Return what to do about a line that is no TOML."""
    if any(quote in line for quote in "“”„«»‘’"):
        return 'write straight quotes, "...", in the place of curly ones'
    if any(sign in line.partition("#")[0] for sign in "［］｛｝＝，＂"):
        return "write brackets, quotes, commas and = as plain characters, not as full-width ones"
    key, equals, value = (part.strip() for part in line.partition("="))
    if equals and not key.isascii() and not key.startswith("#"):
        return "the key of tiedown goes left of the =, and the export's own name on the right, in quotes"
    for pattern, fix in _NO_TOML:
        if re.fullmatch(pattern, value.partition("#")[0].strip(), re.IGNORECASE):
            return fix
    if "\\" in line:
        return r"in double quotes a \ starts an escape sequence: write / between folders, or use single quotes"
    return "text goes in quotes, lists in [ ], tables in { } on one line; no key or table may appear twice"


def _deepest(text: str) -> int:
    """Return the line on which brackets are nested most deeply, quotes left out of account."""
    depths, depth = [], 0
    for line in text.split("\n"):
        depth += sum(map(line.count, "[{")) - sum(map(line.count, "]}"))
        depths.append(depth + sum(map(line.count, "]}")))
    return max(range(len(depths)), key=depths.__getitem__) + 1
