"""What drawings may link to under `current` and a new issue no longer has.

Files of formats, columns of points, layers of codes and of lines; of a drawing those of the codes' proven points.
"""

from collections.abc import Collection, Iterator

from msgspec import Struct

from pipeline.issue.folder.plain_names import plain_name
from pipeline.issue.formats.dxf_former import layers_of_codes
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.record_types import FileIssued, Record
from pipeline.job.model import Job
from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.reissue.earlier import Last
from pipeline.visible import one_line

_DRAWING = ".dxf"


class Links(Struct, frozen=True):
    """What a new issue has that drawings may link to.

    Args:
        layers: the names of the GeoPackage's layers besides those that every issue has.
        columns: the names of the columns of points.
        drawn: the layers of codes in the drawing, None where none was written.
    """

    layers: Collection[str] = ()
    columns: Collection[str] = ()
    drawn: Collection[str] | None = None


def gone_links(last: Last, job: Job, now: Links) -> list[str]:
    """Return in words what a new issue no longer has of the previous one, nothing where it has it all.

    Args:
        last: the issue that drafters have.
        job: the job, which says the names of the files.
        now: what the new issue has.
    """
    record = last.record
    gone = [*_files(record, job), *_columns(last, now), *_layers(record, now), *_drawn(last, now)]
    if not gone:
        return []
    return [f"this issue no longer has what drawings may link to under current: {listed(gone)}"]


def _columns(last: Last, now: Links) -> Iterator[str]:
    """Yield the columns of points, which CSV and GeoJSON have as well."""
    gone = [one_line(name) for name in last.columns if name not in now.columns and name != GEOMETRY]
    if gone:
        yield f"{'column' if len(gone) == 1 else 'columns'} {listed(gone)} of points"


def _layers(last: Record, now: Links) -> Iterator[str]:
    for entry in last["files"]:
        for layer in entry.get("layers", []):
            if ("code" in layer or layer["name"] == "lines") and layer["name"] not in now.layers:
                yield f"layer {layer['name']} of {_plain(entry, last)}"


def _drawn(last: Last, now: Links) -> Iterator[str]:
    """Yield the layers of codes in the drawing; case makes no difference there."""
    if now.drawn is None:
        return
    there = {folded(name) for name in now.drawn}
    for entry in last.record["files"]:
        if entry["name"].endswith(_DRAWING):
            had = layers_of_codes(last.folder / entry["name"])
            plain = _plain(entry, last.record)
            yield from (f"layer {one_line(name)} of {plain}" for name in had if folded(name) not in there)


def _files(last: Record, job: Job) -> Iterator[str]:
    """Yield the files with points, under the names that never change."""
    had = [_plain(entry, last) for entry in last["files"] if "rows" in entry or "layers" in entry]
    now = {f"{job.job.name}.gpkg"}
    if job.issue.formats and len(had) > 1:
        # it loads libraries that a job with a GeoPackage alone has no use for
        from pipeline.issue.formats.formats import FORMATS

        now |= {f"{job.job.name}{FORMATS[word].ending}" for word in job.issue.formats if word in FORMATS}
    yield from (name for name in had if name not in now)


def _plain(entry: FileIssued, last: Record) -> str:
    return plain_name(entry["name"], last["issue"]) or entry["name"]
