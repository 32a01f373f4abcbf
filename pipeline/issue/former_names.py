"""The names that layers and columns had in issues before: what a code or a heading was once given stays with it.

Drafters link to a layer and to a column by name. One that came free, or that another code would now be given first,
must not hold something else in silence.
"""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from msgspec import Struct, field

from pipeline.issue.folder.folder_names import numbered
from pipeline.issue.formats.layer_names import unique_name
from pipeline.issue.record import NAME, RecordError, read_any_version

#: Later than any issue.
_NEW = 1 << 62
#: What `unique_name` puts behind a name.
_NUMBER = re.compile("[1-9][0-9]{0,3}")


class FormerNames(Struct, frozen=True):
    """What records say, the newest issue first: where two of them differ, it is drawn from that one.

    Args:
        layers: the layer of each code in the GeoPackage, where it had one.
        columns: the columns of ``points``; of two that differ in case alone the newer one.
        files: the issue in which each raw file first was.
    """

    layers: Mapping[str, str] = field(default_factory=dict)
    columns: tuple[str, ...] = ()
    files: Mapping[str, int] = field(default_factory=dict)

    def since(self, file: str) -> int:
        """Return since which issue there is a raw file; one that is new comes after all others."""
        return self.files.get(file, _NEW)


def former_names(folder: Path) -> FormerNames:
    """Return the names in all issues of a job's folder, also those whose files were removed.

    A record that cannot be read is passed over: a run that needs it says so.
    """
    layers, columns, files = dict[str, str](), dict[str, str](), dict[str, int]()
    for number, place in sorted(numbered(folder), reverse=True):
        with suppress(RecordError, OSError, KeyError, TypeError, AttributeError):
            record = read_any_version(place / NAME)
            for layer in _layers(record):
                if "code" in layer:
                    layers.setdefault(str(layer["code"]), str(layer["name"]))
                elif layer["name"] == "points":
                    for name in map(str, layer["columns"]):
                        columns.setdefault(name.casefold(), name)
            files |= {str(one["path"]): number for one in record.get("inputs", [])}
    return FormerNames(layers, tuple(columns.values()), files)


def _layers(record: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    for file in record.get("files", []):
        yield from file.get("layers", [])


def layer_names(wanted: Mapping[str, str], former: Mapping[str, str]) -> list[str]:
    """Return a name for each code's layer: the one that it had, else the one ``wanted``, with a number if it is taken.

    A name that another code had is taken, also where that code is not there any more. Case makes no difference.
    """
    kept, used = dict[str, str](), set[str]()
    for code, name in former.items():
        if name.casefold() not in used:
            used.add(name.casefold())
            kept[code] = name
    fresh = [code for code in wanted if code not in kept]
    given = kept | dict(zip(fresh, unique_name([wanted[code] for code in fresh], used), strict=True))
    return [given[code] for code in wanted]


def column_names(
    wanted: Sequence[str], former: Sequence[str], since: Sequence[int], reserved: Collection[str]
) -> list[str]:
    """Return a name for each column: the one that it had, else the one wanted, with a number where that is taken.

    No record says which heading a column had; but a number is only put behind a name, by the order of the files, and
    headings of files that were there before are named before those of others.

    Args:
        wanted: the names that they would have.
        former: the names of columns before, none twice.
        since: the issue since which each of them is there.
        reserved: what none may be called, in lower case.
    """
    left = {name for name in former if name.casefold() not in reserved}
    taken = {*reserved, *(name.casefold() for name in former)}
    found: dict[int, str] = {}
    for place in sorted(range(len(wanted)), key=lambda place: since[place]):
        stem = wanted[place]
        if stem in left:
            name = stem
        elif since[place] < _NEW and (numbered := _numbered(stem, left)):
            name = numbered[0]
        else:
            (name,) = unique_name([stem], taken)
        left.discard(name)
        taken.add(name.casefold())
        found[place] = name
    return [found[place] for place in range(len(wanted))]


def _numbered(stem: str, names: Collection[str]) -> list[str]:
    """Return those of names that are a stem with a number behind it, the lowest number first."""
    found = [name for name in names if name.startswith(f"{stem}_") and _NUMBER.fullmatch(name, len(stem) + 1)]
    return sorted(found, key=lambda name: (len(name), name))
