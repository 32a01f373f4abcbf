"""What drawings may link to under `current` and a new issue no longer has: files of formats, layers of codes, lines."""

from collections.abc import Collection, Iterator

from pipeline.issue.folder.plain_names import plain_name
from pipeline.issue.record_types import FileIssued, Record
from pipeline.job.model import Job
from pipeline.near import listed


def gone_links(last: Record, job: Job, layers: Collection[str]) -> list[str]:
    """Return in words what a new issue no longer has of the previous one, nothing where it has it all.

    Args:
        last: the record of the issue that drafters have.
        job: the job, which says the names of the files.
        layers: the names of the new issue's layers besides those that every issue has.
    """
    gone = [*_layers(last, layers), *_files(last, job)]
    if not gone:
        return []
    return [f"this issue no longer has what drawings may link to under current: {listed(gone)}"]


def _layers(last: Record, layers: Collection[str]) -> Iterator[str]:
    for entry in last["files"]:
        for layer in entry.get("layers", []):
            if ("code" in layer or layer["name"] == "lines") and layer["name"] not in layers:
                yield f"layer {layer['name']} of {_plain(entry, last)}"


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
