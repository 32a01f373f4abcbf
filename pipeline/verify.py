"""The issues of a job compared with their own records: what was issued is what is there. Nothing is written."""

import codecs
import os
import stat
from collections.abc import Generator, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct

from pipeline.digest import digest
from pipeline.files.unlocked_database import BESIDE, logs_of
from pipeline.issue.folder.current import NAME as CURRENT
from pipeline.issue.folder.current import not_ours
from pipeline.issue.folder.folder_names import ISSUES, numbered, set_aside
from pipeline.issue.folder.issues_list import NAME as ISSUES_LIST
from pipeline.issue.folder.issues_list import SET_ASIDE as WORD
from pipeline.issue.folder.issues_list import (
    Entry,
    cut_reasons,
    entries_of_making,
    made_before,
    numbers_listed,
    read_issues_list,
)
from pipeline.issue.folder.manual_release import find_issue_to_show
from pipeline.issue.folder.plain_names import missing, plain_name
from pipeline.issue.folder.publish import dead_runs
from pipeline.issue.folder.setting_aside import read_setting_aside
from pipeline.issue.folder.standing_issues import aside
from pipeline.issue.folder.thinned_issues import NAME as REMOVED
from pipeline.issue.folder.thinned_issues import Thinned, may_go, read_thinned
from pipeline.issue.geopackage.package_database import only_touched
from pipeline.issue.geopackage.package_differences import differences
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import RecordError, is_as_written, parse_record, read_any_version, read_record, sum_of
from pipeline.issue.record_types import FileIssued, LayerSums, Record
from pipeline.problems import JobError, Problem, check_working_folder, refusals_told
from pipeline.sealed import sealed_off
from pipeline.words import FIRST_ISSUE, Role, counted

#: What programs lay beside a GeoPackage that they open; none of it is part of the issue, or changes it by being there.
_VIEWERS = (*BESIDE, ".aux.xml")

#: A key of records that came soon after the sum of their own: no run writes it without the sum.
_LATER_THAN_SUM = "doubts"

_NO_LINE = "its line there is not in the form in which a run writes it"


class Finding(Struct, frozen=True):
    """Something to be told of one issue, or of the folder (``issue`` 0).

    ``differs`` says whether the issue is not what was issued, or cannot be shown to be; otherwise it is only a remark.
    """

    issue: int
    file: str
    what: str
    differs: bool

    def __str__(self) -> str:
        return f"{self.file}: {self.what}"


class Verified(Struct, frozen=True):
    """What was found in a job's folder: the numbers of its issues, and what is to be told of them."""

    issues: tuple[int, ...]
    findings: tuple[Finding, ...]

    @property
    def intact(self) -> bool:
        """Say whether every issue is what was issued."""
        return not any(finding.differs for finding in self.findings)

    def of(self, issue: int) -> list[Finding]:
        """Return what is to be told of one issue, or with 0 of the folder."""
        return [finding for finding in self.findings if finding.issue == issue]


@sealed_off()
@refusals_told()
def verify(folder: Path) -> Verified:
    """Compare every file of every issue in a job's folder with the sums in the issue's record.

    A program that opens a GeoPackage may touch what `package_database.TOUCHED` lists of its header, and lay beside it
    what `_VIEWERS` lists: that is a remark. All else is a difference, in changes too that still wait in a log beside
    it.

    Raises `JobError` where the folder holds no issue, or cannot be looked into.
    """
    check_working_folder([folder])
    present = sorted(numbered(folder))
    if not present and not set_aside(folder):
        fix = f"name the folder that [job] folder names: the one with {ISSUES} stands"
        what = "there is no issue in this folder" if folder.is_dir() else "there is no such folder"
        raise JobError([Problem(str(folder), 0, what, fix)])
    findings: list[Finding] = []
    records: dict[int, Record] = {}
    for number, path in present:
        try:
            if path.is_symlink():
                findings.append(Finding(number, f"{ISSUES}/{path.name}", "a link stands in its place", True))
            if (instead := _instead(path / RECORD)) is not None:
                findings.append(Finding(number, RECORD, f"{instead} stands in its place", True))
                continue
            said = read_any_version(path / RECORD)
            records[number] = parse_record(said, path / RECORD)
        except (RecordError, OSError) as error:
            findings.append(Finding(number, RECORD, f"cannot be read: {_said(error)}", True))
            continue
        findings += [Finding(number, *told) for told in _issue(path, number, records[number], said)]
    findings += _folder(folder, dict(present), records)
    return Verified(tuple(number for number, _ in present), tuple(findings))


#: File, what, and whether it differs.
_Told = tuple[str, str, bool]


def _issue(place: Path, number: int, record: Record, said: Mapping[str, Any]) -> Iterator[_Told]:
    """Yield what is to be told of an issue's folder, or of a copy of it; ``said`` is the record as its file has it."""
    if record["issue"] != number:
        yield RECORD, f"it is the record of issue {record['issue']:03d}", True
    if "sum" not in said:
        yield _without_sum(said)
    elif said["sum"] != sum_of(said):
        yield RECORD, "its content is not what was written", True
    elif (how := _written_again(place / RECORD, said)) is not None:
        yield RECORD, f"{how}; its content is what was issued", False
    files = record["files"]
    if not files:
        yield RECORD, "it has no checksums of the files (an early version wrote it), so they cannot be verified", True
        return
    try:
        removed = read_thinned(place)
    except PermissionError as error:
        yield REMOVED, f"cannot be read, so nobody can say which files issue.keep removed: {_said(error)}", True
        return
    if removed is not None:
        yield from _removed(place, removed, record)
    for entry in files:
        if removed is None or entry["name"] not in removed.files:
            yield from _file(place / entry["name"], entry, record)
    yield from _beside(place, number, files, removed)


def _beside(place: Path, number: int, files: Sequence[FileIssued], removed: Thinned | None) -> Iterator[_Told]:
    """Yield what is to be told of what lies in an issue's folder beside its files and its record."""
    known = {RECORD, *(entry["name"] for entry in files), *([] if removed is None else [REMOVED])}
    plain = {name: entry for entry in files if (name := plain_name(entry["name"], number)) is not None}
    try:
        there = sorted(place.iterdir())
    except OSError as error:
        yield RECORD, f"what lies beside it cannot be looked at: {_said(error)}", True
        return
    for path in there:
        if path.name in known:
            continue
        if path.name in plain:
            yield from _plain(path, plain[path.name])
            continue
        regular = _instead(path) is None
        owner = next((path.name.removesuffix(ending) for ending in _VIEWERS if path.name.endswith(ending)), None)
        if owner in {*known, *plain} and regular:
            yield path.name, "left by a program that opened the GeoPackage; not part of the issue", False
        else:
            yield path.name, "is not part of the issue", True


def _removed(place: Path, removed: Thinned, record: Record) -> Iterator[_Told]:
    """Yield what is to be told of an issue whose files were removed by `issue.keep`."""
    if removed.issue != record["issue"] or not removed.files.items() <= may_go(record["files"]).items():
        yield REMOVED, "it names files that the issue does not have, or may not lose", True
    yield REMOVED, f"{removed}; record and report stay", False
    for name in removed.files:
        if os.path.lexists(place / name):
            yield name, "its removal was interrupted; the next run goes on with it", False


def _written_again(path: Path, said: Mapping[str, Any]) -> str | None:
    """Say in words that a record's file has other bytes than were written, such as other line ends or another layout.

    None where it has not.
    """
    try:
        written = path.read_bytes()
    except OSError:  # it was read a moment ago
        return None
    if is_as_written(said, written):
        return None
    if written.startswith(codecs.BOM_UTF8):
        return "something changed its bytes, and put a byte order mark before it, as editors do"
    return "something changed its bytes"


def _without_sum(said: Mapping[str, Any]) -> _Told:
    """Return that a record has no sum of its own: taken out, or written before records had one."""
    if _LATER_THAN_SUM in said:
        return RECORD, "its own checksum was removed, so it cannot be verified", True
    what = "it has no checksum of its own (an early version wrote it), so an alteration of it would not be found"
    return RECORD, what, False


def _file(path: Path, entry: FileIssued, record: Record) -> Iterator[_Told]:
    name, layers = path.name, entry.get("layers")
    try:
        yield from _compared(path, entry)
    except FileNotFoundError:
        yield name, "is missing", True
    except OSError as error:
        yield name, f"cannot be read: {_said(error)}", True
    if layers is not None:
        yield from ((RECORD, what, True) for what in _accounts(layers, record))
    drawn = entry.get("rows", {}).get("points", record["rows"]["points"])
    if drawn != record["rows"]["points"]:
        points = counted(record["rows"]["points"], "point")
        yield RECORD, f"it says {points}, and that {name} was issued with {drawn:,}", True


def _compared(path: Path, entry: FileIssued) -> Iterator[_Told]:
    """Yield how a file differs from the one that was issued. Raises OSError."""
    name = path.name
    if (instead := _instead(path)) is not None:
        yield name, f"{instead} stands in its place", True
        return
    same, package = digest(path) == entry["sha256"], "layers" in entry
    if same and not (package and logs_of(path)):
        return
    if not package:
        yield name, "its bytes are not those that were issued", True
        return
    found = [] if only_touched(path, entry) else [*differences(path, entry)]
    yield from ((name, what, True) for what in found)
    if not found and not same:
        yield name, "a program that opened it changed its bytes; its content is what was issued", False
    if not found and "database" not in entry:
        what = "an early version wrote it: of its bytes only the layers could be compared, by their content"
        yield name, what, False


def _plain(path: Path, entry: FileIssued) -> Iterator[_Told]:
    """Yield what is wrong with a file's name without the number: a link to it, or a copy."""
    if path.is_symlink():
        if (leads := os.readlink(path)) != entry["name"]:
            yield path.name, f"it leads to {leads}, not to {entry['name']}", True
        return
    try:
        yield from _compared(path, entry)
    except OSError as error:
        yield path.name, f"cannot be read: {_said(error)}", True


def _instead(path: Path) -> str | None:
    """Return what stands where a file should, None where a file does. Raises OSError."""
    mode = path.lstat().st_mode
    if stat.S_ISREG(mode):
        return None
    return "a link" if stat.S_ISLNK(mode) else "a folder" if stat.S_ISDIR(mode) else "something that is no file"


def _accounts(layers: list[LayerSums], record: Record) -> Iterator[str]:
    """Yield where the record's own numbers are not those of the layers that it sums."""
    rows = {layer["name"]: layer["rows"] for layer in layers}
    says = {
        "points": record["rows"]["points"],
        "check_marks": record["rows"]["on_marks"] + sum(one["role"] == Role.NOTED for one in record["checks"]),
        "held_back": record["rows"]["held_back"],
        "sessions": len(record["sessions"]),
    }
    coded = [layer["rows"] for layer in layers if "code" in layer]
    if coded and sum(coded) != rows.get("points"):
        together = counted(sum(coded), "row")
        yield f"the layers of single codes have {together} together, points has {rows.get('points', 0):,}"
    for layer, count in says.items():
        if layer in rows and rows[layer] != count:
            yield f"it says {counted(count, 'row')} for {layer}, the layer that was issued has {rows[layer]:,}"


def _folder(folder: Path, present: Mapping[int, Path], records: Mapping[int, Record]) -> Iterator[Finding]:
    """Yield what is to be told of the folder around the issues, each with the issue that it is about."""
    unread: list[Problem] = []
    try:
        listed, moved = entries_of_making(read_issues_list(folder)), aside(folder)
        numbers = numbers_listed(folder)
        cut = cut_reasons(folder)
        yield from _lost_lines(read_issues_list(folder), len(present))
    except JobError as error:
        unread += error.problems
        yield from (Finding(0, ISSUES_LIST, f"{one.what}: {one.fix}", True) for one in unread)
        listed, moved, numbers, cut = {}, {*set_aside(folder)}, set(), set()
    newest = max(present, default=0)
    named = {number for number, line in listed.items() if line.verdict == WORD} if not unread else moved
    yield from _absent(folder, sorted({*range(1, newest + 1), *listed, *moved} - present.keys()), moved, named)
    for number, record in records.items() if not unread else ():
        if number in listed:
            found = _listed(listed[number], record, cut=number in cut)
            yield from (Finding(number, ISSUES_LIST, what, True) for what in found)
        elif number in numbers:
            yield Finding(number, ISSUES_LIST, _NO_LINE, True)
        else:
            # a run that was killed leaves the newest one's line out, and whoever takes the list away all of them
            lost = bool(listed) and number < newest
            yield Finding(number, ISSUES_LIST, "it has no line there; the next run adds it", lost)
    times = {number: None if line.is_anew else line.made_at for number, line in listed.items()}
    for number, other in made_before(times).items():
        what = f"by its line there it was made before issue {other:03d}: a clock was wrong, or the line was edited"
        yield Finding(number, ISSUES_LIST, what, False)
    for path in sorted((folder / ISSUES).iterdir()) if (folder / ISSUES).is_dir() else ():
        if path not in present.values():
            yield Finding(0, f"{ISSUES}/{path.name}", "is not an issue", True)
    for path in dead_runs(folder):
        what = "left by a run that was interrupted, or in use by one that is running; the next run removes it"
        yield Finding(0, path.name, what, False)
    if present:
        yield from (Finding(0, *told) for told in _current(folder, present, records))


def _absent(folder: Path, numbers: Sequence[int], moved: set[int], named: set[int]) -> Iterator[Finding]:
    """Yield which issues do not stand: set aside (``moved``; ``named`` of them by the issues list as well), or gone."""
    for number in numbers:
        what = "the issue was set aside" if number in moved else "the issue is gone"
        if number in moved - named:
            what += f"; {ISSUES_LIST} does not say so yet, and the next run adds it"
        yield Finding(number, f"{ISSUES}/{number:03d}", what, number not in moved)
    half = read_setting_aside(folder)
    if half is not None and os.path.lexists(place := folder / ISSUES / f"{half.issue:03d}"):
        what = f"tiedown aside was interrupted before it moved the issue: run tiedown aside JOB {half.issue} again"
        yield Finding(half.issue, f"{ISSUES}/{place.name}", what, False)


def _lost_lines(lines: Sequence[Entry], issues: int) -> Iterator[Finding]:
    """Yield what the issues list has lost, which is no part of any issue."""
    anew = [line for line in lines if line.is_anew]
    if not lines and issues > 1:
        what = "it is lost; the next run rebuilds it from the records, but when issues were made, and why some were"
        yield Finding(0, ISSUES_LIST, f"{what} released or set aside, was there alone", False)
    elif anew:
        told = f"{counted(len(anew), 'line')} {'was' if len(anew) == 1 else 'were'} rebuilt after it was lost"
        what = f"{told}: their times are those of files, and what was said of releases before is lost where"
        yield Finding(0, ISSUES_LIST, f"{what} no line has it", False)


def _listed(entry: Entry, record: Record, *, cut: bool) -> Iterator[str]:
    """Yield where the line of an issue in the list is not what its record says; ``cut``: see `cut_reasons`."""
    if entry.verdict != record["verdict"]:
        yield f"it says {entry.verdict}, the record says {record['verdict']}"
    because = "; ".join(record["changes"]["because"]) if record["changes"] is not None else FIRST_ISSUE
    if cut and because != entry.reason and because.startswith(entry.reason):
        yield f"{_NO_LINE}: another sign stands for each of its commas"
    # of a first issue the line that a later run adds in its place says nothing
    elif entry.reason != because and (entry.reason or because != FIRST_ISSUE):
        yield f'it says "{entry.reason}" as the reason, the record says "{because}"'


def _current(folder: Path, present: Mapping[int, Path], records: Mapping[int, Record]) -> Iterator[_Told]:
    current, wanted = folder / CURRENT, _wanted(folder, present, records)
    if current.is_symlink() and not current.exists():
        yield CURRENT, f"it points to nothing ({current.readlink()})", True
        return
    if not current.exists():
        if wanted is not None:
            yield CURRENT, "it is not there; the next run makes it", False
        return
    shown = next((number for number, path in present.items() if path.resolve() == current.resolve()), None)
    if shown is None and (what := not_ours(folder)) is not None and current.is_symlink():
        yield CURRENT, f"it is {what}, not to an issue of this folder", True
        return
    if shown is None:
        shown = yield from _copy(current, present, records)
    if shown is None:
        return
    if lacking := missing(current, shown):
        names = ", ".join(short for _, short in lacking)
        yield CURRENT, f"there is no {names}, the name without the number; the next run adds it", False
    if wanted not in (None, shown):
        other = f"the newest is {wanted:03d}" if wanted == max(present) else f"the one released is {wanted:03d}"
        yield CURRENT, f"it shows issue {shown:03d}, {other}; the next run puts it right", False


def _copy(
    current: Path, present: Mapping[int, Path], records: Mapping[int, Record]
) -> Generator[_Told, None, int | None]:
    """Yield what is to be told of ``current`` where it is a copy; return of which issue, None where nobody can say."""
    try:
        if (instead := _instead(current / RECORD)) is not None:
            yield f"{CURRENT}/{RECORD}", f"{instead} stands in its place", True
            return None
        shown = read_record(current / RECORD)["issue"]
    except (RecordError, OSError) as error:
        yield f"{CURRENT}/{RECORD}", f"cannot be read: {_said(error)}", True
        return None
    if shown not in records:
        yield CURRENT, f"it is a copy of issue {shown:03d}, which is not there", True
        return None
    said = read_any_version(current / RECORD)
    if said != read_any_version(present[shown] / RECORD):
        yield f"{CURRENT}/{RECORD}", f"it is not the record of issue {shown:03d}", True
    for file, what, differs in _issue(current, shown, records[shown], said):
        yield f"{CURRENT}/{file}", what, differs
    return shown


def _wanted(folder: Path, present: Mapping[int, Path], records: Mapping[int, Record]) -> int | None:
    """Return the issue that ``current`` is to show; None where none is released, or nobody can say which."""
    try:
        return find_issue_to_show(folder, present, records.get(max(present)))
    except (JobError, RecordError, OSError):  # told where that is read
        return None


def _said(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
