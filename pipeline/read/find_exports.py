"""Finds every file of every block of exports, each once, and has each looked at."""

import glob
import os
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from msgspec import Struct, field

from pipeline.files.file_patterns import Closed, TooMany, named_by, temporary, temporary_ones
from pipeline.files.workbook import WORKBOOKS
from pipeline.job.key_lines import Where
from pipeline.job.key_values import BLANKS
from pipeline.job.model import Job, Points
from pipeline.limits import ALL_COLUMNS, EXPORTS, HINTS, LOOKED_AT
from pipeline.near import beside, listed
from pipeline.problems import NOT_TEXT, Problems, is_text
from pipeline.read.covariances import lacking
from pipeline.read.export_check import checked
from pipeline.read.exports import Export
from pipeline.read.mapping import base_of, mapped, position_of, sigma_of, time_of
from pipeline.read.named_copies import in_reading_order
from pipeline.read.point_names import UnusedFile
from pipeline.read.sources import JSON, PACKAGE, TEXT, has_layers
from pipeline.read.text_blocks import known_encoding
from pipeline.read.times import clock
from pipeline.replace import replace
from pipeline.words import counted, plural

#: Bytes of rows of texts that a job holds from the first look at them until they are read.
LOOKED = 4 << 20


def find_exports(
    job: Job,
    folder: Path,
    job_file: str,
    where: Where,
    problems: Problems,
    issued: Callable[[Path], bool] = lambda _: False,
    others: Mapping[tuple[str, str | None], str] = MappingProxyType({}),
) -> tuple[list[Export], list[UnusedFile]]:
    """Find every file of every block, in order of block and path, and look at each just enough to know it is readable.

    ``folder`` is the job file's. What is wrong goes to ``problems``; files that cannot be used are left out and
    returned apart. ``issued`` says of a path, links resolved, that it is of what runs of the job write: no pattern
    matches that. ``others`` are the tables that the job file names as something else, by path, links resolved, and
    layer, with what they are in words: they hold no readings.
    """
    found = _Finder(folder, job_file, where, problems, issued, others, LOOKED)
    for block, points in enumerate(job.points):
        found.take(block, points)
    exports = _told_apart(found.exports)
    names = {field.name for export in exports for field in export.carried}
    if len(names) > ALL_COLUMNS:
        what = f"the exports carry {counted(len(names), 'column')} along; the limit is {ALL_COLUMNS:,}"
        problems.add(job_file, where("points")[1], what, "export fewer, or divide the exports among several jobs")
    return exports, found.unused


class _Finder(Struct):
    """The exports found, block by block.

    ``room`` is how many bytes of rows may still be held, ``owners`` the blocks, and the layers that each of them reads,
    of every file by its path with links resolved.
    """

    folder: Path
    job_file: str
    where: Where
    problems: Problems
    issued: Callable[[Path], bool]
    others: Mapping[tuple[str, str | None], str]
    room: int
    exports: list[Export] = field(default_factory=list)
    unused: list[UnusedFile] = field(default_factory=list)
    owners: dict[str, list[tuple[int, str | None]]] = field(default_factory=dict)

    def take(self, block: int, points: Points) -> None:
        """Find the files of a block and look at each."""
        faults = list(_faults(points))
        for key, what in faults:
            is_lacking = key == "columns" and "more than one" not in what
            fix = "name the export's columns for a whole position and a time in [points.columns]" if is_lacking else ""
            self.problems.add(self.job_file, self._line(block, key), what, fix)
        line = self._line(block, "files")
        for path in _paths(points, self.folder, self.job_file, line, self.problems, self.issued):
            layers = (points.layer or (None,)) if has_layers(path) else (None,)
            if self._is_taken(path, layers, block):
                continue
            if not is_text(path):
                shown = _shown(path, self.folder)
                self.problems.add(shown, 0, NOT_TEXT[0], NOT_TEXT[1])
                self.unused.append(UnusedFile(path, shown, points))
                continue
            for layer in layers:
                if self._is_something_else(path, layer, block):
                    self.unused.append(UnusedFile(path, _shown(path, self.folder), points))
                    continue
                of_layer = points.model_copy(update={"layer": (layer,)}) if layer is not None else points
                self._look(path, _with_layer(_shown(path, self.folder), layers, layer), block, of_layer, not faults)

    def _line(self, block: int, key: str) -> int:
        return self.where("points", block, key)[1]

    def _is_taken(self, path: Path, layers: Sequence[str | None], block: int) -> bool:
        """Tell, and say, whether another block has a file, or one of its layers; else it is this block's."""
        others = self.owners.setdefault(os.path.realpath(path), [])
        if any(layer is None or None in layers or layer in layers for _, layer in others):
            first = self._line(others[0][0], "files")
            what = f"{_shown(path, self.folder)} belongs to two blocks of points (the other is at line {first})"
            fix = "let only one block's files match it"
            self.problems.add(self.job_file, self._line(block, "files"), what, fix)
            return True
        others.extend((block, layer) for layer in layers)
        return False

    def _is_something_else(self, path: Path, layer: str | None, block: int) -> bool:
        """Tell, and say, whether the job file names a file, or that layer of it, as something else than readings."""
        role = self.others.get((os.path.realpath(path), layer))
        if role is not None:
            what = f"{_shown(path, self.folder)} is {role}, and the files of this block match it too"
            fix = 'let them match exports only, as "rover*.csv" does, or move it to a folder of its own'
            self.problems.add(self.job_file, self._line(block, "files"), what, fix)
        return role is not None

    def _look(self, path: Path, shown: str, block: int, points: Points, sound: bool) -> None:
        """Look at one file, or one layer of it; ``sound`` is whether its block is."""
        export = checked(path, shown, block, points, sound, self.problems)
        if not sound or export is None:
            self.unused.append(UnusedFile(path, shown, points))
            return
        self.room -= 0 if export.looked is None else export.looked.size
        looked = export.looked if self.room >= 0 else None
        self.exports.append(replace(export, file=_shown(path, self.folder), looked=looked))


def _with_layer(shown: str, layers: Sequence[str | None], layer: str | None) -> str:
    return f"{shown}:{layer}" if len(layers) > 1 else shown


def _told_apart(exports: list[Export]) -> list[Export]:
    """Name the layer behind every file of which several are read, so that a row's number says which row it is."""
    counts = Counter(os.path.realpath(export.path) for export in exports)
    return [
        replace(export, shown=f"{export.file}:{export.points.layer[0]}")
        if counts[os.path.realpath(export.path)] > 1 and export.points.layer
        else export
        for export in exports
    ]


def _faults(points: Points) -> Iterator[tuple[str, str]]:
    """Give the key and the fault of everything in a block that makes its files unreadable."""
    for found in (position_of, base_of, lambda _: time_of(points), sigma_of):
        try:
            found(points.columns)
        except ValueError as error:
            yield "columns", str(error)
    if (what := lacking(mapped(points.columns))) is not None:
        yield "columns", what
    for key, zone, time_format in (("time_zone", points.time_zone, None), ("time_format", None, points.time_format)):
        try:
            clock(zone, time_format)
        except ValueError as error:
            yield key, str(error)
    if points.encoding is not None and not known_encoding(points.encoding):
        yield "encoding", f'there is no encoding "{points.encoding}"'
    sign = None if points.delimiter == BLANKS else points.delimiter
    if sign is not None and (not sign.isascii() or sign in '"\r\n\0'):
        yield "delimiter", f'"{points.delimiter}" cannot be a delimiter'


def _paths(
    points: Points, folder: Path, job_file: str, line: int, problems: Problems, issued: Callable[[Path], bool]
) -> list[Path]:
    """Return the block's files, each once, in the order of their paths; what is named as a copy behind its original."""
    found: dict[str, Path] = {}
    hints = HINTS
    for pattern in points.files:
        try:
            matches = named_by(folder, pattern, issued)
        except TooMany:
            what = f'more than {counted(LOOKED_AT, "file")} would have to be searched for "{pattern}"'
            problems.add(job_file, line, what, "name the folders that the exports are in, or fewer folder levels")
            continue
        except Closed as error:
            place = os.path.relpath(error.folder, folder)
            what = f'the folder {place} cannot be searched for "{pattern}": {error}'
            problems.add(job_file, line, what, "check its permissions, or name the folders that the exports are in")
            continue
        if not matches:
            problems.add(job_file, line, f'no file matches "{pattern}"', _look(pattern, folder) if hints > 0 else "")
            hints -= 1
        for match in matches:
            found.setdefault(os.path.realpath(match), Path(match))
    if len(found) > EXPORTS:
        what = f"there are {counted(len(found), 'file')}; the limit is {EXPORTS:,}"
        problems.add(job_file, line, what, "combine them, or divide them among several jobs")
        return []
    return in_reading_order({_shown(path, folder): path for path in found.values()})


def _look(pattern: str, folder: Path) -> str:
    """Return where a pattern that matches no file was looked for, and what is there instead."""
    at, name = os.path.split(os.path.join(folder, pattern))
    fix = f"the search starts in {folder.as_posix()}"
    if "\\" in pattern:
        return f"{fix}; use / between folders, also on Windows"
    if glob.has_magic(at):
        return fix
    if not os.path.isdir(at):
        return f"{fix}, where there is no folder {os.path.dirname(pattern)}"
    if passed := temporary_ones(folder, pattern):
        few = listed(sorted(map(os.path.basename, passed)))
        return f"only {few} would, which {plural(len(passed), 'is', 'are')} named like a program's temporary file"
    if near := beside(os.path.join(at, name)):
        return f"did you mean {' or '.join(near)}? {fix}"
    try:
        there = sorted(each for each in os.listdir(at) if _like_an_export(each))
    except OSError:
        return fix
    return f"{fix}; possible exports there: {listed(there)}" if there else f"{fix}, where there is no export"


def _like_an_export(name: str) -> bool:
    return name.lower().endswith((*TEXT, *JSON, *PACKAGE, *WORKBOOKS)) and not temporary(name)


def _shown(path: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # on another drive
        return path.as_posix()
