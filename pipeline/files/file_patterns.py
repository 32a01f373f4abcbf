"""The paths that a pattern of files names, looked for within bounds.

As by a shell: ``*``, ``?`` and ``[...]`` stand for parts of a name, ``**`` for any folders between, and none of them
for a name that begins with a point. ``**`` does not go through links to folders, which may lead anywhere and round in
circles; what lies behind one can be named.
"""

import glob
import os
import re
from collections.abc import Callable, Iterable, Iterator
from fnmatch import translate
from pathlib import Path

from pipeline.limits import LOOKED_AT

#: How names of files begin and end that are not there to stay: owner files and locks of office programs, files being
#: written, copied or downloaded, backups of editors.
_BEGIN, _END = ("~$", ".~lock."), ("~", ".tmp", ".part", ".partial", ".crdownload", ".download")


class TooMany(Exception):
    """There is more below the folders of a pattern than is looked at."""


class Closed(Exception):
    """A folder of a pattern may not be looked into; ``folder`` says which, and the message why."""

    def __init__(self, folder: str, why: str) -> None:
        self.folder = folder
        super().__init__(why)


def matching(folder: Path, pattern: str) -> list[str]:
    """Return the paths that ``pattern`` names, counted from ``folder``, in order. Raises `TooMany` and `Closed`."""
    parts, look = Path(pattern).parts, _Look()
    absolute = os.path.isabs(pattern)
    found = [parts[0] if absolute else str(folder)]
    for part in parts[1:] if absolute else parts:
        found = list(dict.fromkeys(look.step(found, part)))
    return sorted(found)


def named_by(folder: Path, pattern: str, issued: Callable[[Path], bool]) -> list[str]:
    """Return the files that ``pattern`` names; ``issued`` says of a path, links resolved, that no pattern finds it.

    A file of that very name comes before what the pattern would find, which leaves out what is `temporary`. Raises
    `TooMany` and `Closed`.
    """
    literal = os.path.join(folder, pattern)
    there = [literal] if os.path.isfile(literal) else matching(folder, pattern)
    matches = [path for path in there if not os.path.isdir(path)]
    if there == [literal]:
        return matches
    return [path for path in matches if not (temporary(path) or issued(Path(os.path.realpath(path))))]


def temporary(path: str) -> bool:
    """Say whether a file bears a name that programs give to locks, copies and downloads, only while at work."""
    name = os.path.basename(path).lower()
    return name.startswith(_BEGIN) or name.endswith(_END)


def temporary_ones(folder: Path, pattern: str) -> list[str]:
    """Return the files that ``pattern`` would name were they not `temporary`. Raises `TooMany` and `Closed`."""
    if not glob.has_magic(pattern) or os.path.isfile(os.path.join(folder, pattern)):
        return []
    return [path for path in matching(folder, pattern) if temporary(path) and not os.path.isdir(path)]


def otherwise_cased(folder: Path, pattern: str) -> list[str]:
    """Return the files that ``pattern`` would name did capitals in the file's own name not count, and does not name.

    Raises `TooMany` and `Closed`.
    """
    above, name = os.path.split(pattern)
    if not glob.has_magic(name) or name == "**":
        return []
    named, blind = set(matching(folder, pattern)), re.compile(translate(name.casefold())).match
    there = matching(folder, os.path.join(above, "*"))
    alike = (path for path in there if blind(os.path.basename(path).casefold()) and path not in named)
    return [path for path in alike if os.path.isfile(path)]


def fits(folder: Path, pattern: str, path: Path) -> bool:
    """Say whether ``pattern``, counted from ``folder``, names a path, links resolved, or would if it were there."""
    parts = Path(pattern).parts
    plain = next((number for number, part in enumerate(parts) if glob.has_magic(part)), len(parts))
    base = Path(os.path.realpath(folder.joinpath(*parts[:plain])))
    return path.is_relative_to(base) and _fits(parts[plain:], path.relative_to(base).parts)


def _fits(pattern: tuple[str, ...], parts: tuple[str, ...]) -> bool:
    if not pattern or not parts:
        return not parts and all(part == "**" for part in pattern)
    if _hidden(parts[0]) and not pattern[0].startswith("."):
        return False
    if pattern[0] == "**":
        return _fits(pattern[1:], parts) or _fits(pattern, parts[1:])
    named = re.match(translate(os.path.normcase(pattern[0])), os.path.normcase(parts[0]))
    return named is not None and _fits(pattern[1:], parts[1:])


class _Look:
    """One look for a pattern, part by part; counts what is looked at."""

    def __init__(self) -> None:
        self._left = LOOKED_AT

    def step(self, found: Iterable[str], part: str) -> Iterator[str]:
        """Yield the paths that ``part`` names in each folder of ``found``."""
        if part == "**":
            yield from self._below(found)
        elif glob.has_magic(part):
            fits = re.compile(translate(os.path.normcase(part))).match
            for folder in found:
                named = (each.path for each in self._entries(folder) if fits(os.path.normcase(each.name)))
                yield from (path for path in named if part.startswith(".") or not _hidden(path))
        else:
            for folder in found:
                self._count()
                path = os.path.join(folder, part)
                if os.path.lexists(path):
                    yield path

    def _below(self, found: Iterable[str]) -> Iterator[str]:
        """Yield everything below folders, and themselves, each once."""
        seen: set[str] = set()
        waiting = list(found)[::-1]
        while waiting:
            path = waiting.pop()
            if path in seen:
                continue
            seen.add(path)
            yield path
            for each in self._entries(path):
                if each.name.startswith("."):
                    continue
                if each.is_dir(follow_symlinks=False):
                    waiting.append(each.path)
                else:
                    yield each.path

    def _entries(self, folder: str) -> list["os.DirEntry[str]"]:
        """Return what is in a folder, nothing where it is none. Raises `Closed` where it may not be looked into."""
        try:
            with os.scandir(folder) as there:
                entries = []
                for each in there:
                    self._count()
                    entries.append(each)
                return entries
        except PermissionError as error:
            raise Closed(folder, error.strerror or str(error)) from error
        except OSError:
            return []

    def _count(self) -> None:
        self._left -= 1
        if self._left < 0:
            raise TooMany


def _hidden(path: str) -> bool:
    return os.path.basename(path).startswith(".")
