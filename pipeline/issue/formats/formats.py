"""The further formats of an issue, each written from its GeoPackage when that is complete, and read back.

A format is a module with an ending, ``write`` (a new file from a `Package`, giving the rows by layer) and
``read_back`` (the file compared with the same package by another reader than wrote it).
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from msgspec import Struct

from pipeline.digest import digest
from pipeline.files.gdal import NOTHING_BESIDE, gdal_options
from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats import csv_beside, csv_file, dxf_file, geojson_file, landxml_file
from pipeline.issue.geopackage.layer_stream import Differs, Package
from pipeline.issue.geopackage.readback import ReadBackError
from pipeline.issue.geopackage.write_errors import NotWritten
from pipeline.issue.record_types import FileIssued
from pipeline.problems import said_of


class Format(Struct, frozen=True):
    """One format: its files' ending, how it is written, how it is read back (raises Differs), what stands beside it.

    ``beside`` gives the content of small files that say what the file itself cannot, by their ending.
    """

    ending: str
    write: Callable[[Path, Package, FileFacts], dict[str, int]]
    read_back: Callable[[Path, Package, FileFacts], None]
    beside: Callable[[Package, FileFacts], dict[str, str]] = lambda package, about: {}


#: By the words of ``[issue] formats``, in the order in which they are written.
FORMATS = {
    "dxf": Format(".dxf", dxf_file.write, dxf_file.read_back),
    "csv": Format(".csv", csv_file.write, csv_file.read_back, csv_beside.beside),
    "geojson": Format(".geojson", geojson_file.write, geojson_file.read_back),
    "landxml": Format(".xml", landxml_file.write, landxml_file.read_back),
}


def write_formats(words: Iterable[str], package: Package, about: FileFacts) -> list[FileIssued]:
    """Write the formats named, each beside the package, and return their entries for the record's ``files``.

    Raises NotWritten where the disk refuses, and ReadBackError where a file does not hold what it was to hold.
    """
    wanted = [form for word, form in FORMATS.items() if word in set(words)]
    return [entry for form in wanted for entry in _written(form, package, about)]


def hold_to(form: Format, package: Package, about: FileFacts) -> None:
    """Compare a written file with the package beside it. Raises ReadBackError."""
    path = package.path.with_suffix(form.ending)
    with _reading(package):
        try:
            form.read_back(path, package, about)
            for ending, text in form.beside(package, about).items():
                if path.with_suffix(ending).read_bytes() != text.encode():
                    raise Differs(f"the {ending} beside it is not the one given")
        except Differs as error:
            raise ReadBackError(path, [str(error)]) from error


def _written(form: Format, package: Package, about: FileFacts) -> list[FileIssued]:
    path = package.path.with_suffix(form.ending)
    with _reading(package):
        try:
            rows = form.write(path, package, about)
            others = form.beside(package, about)
            for ending, text in others.items():
                with path.with_suffix(ending).open("xb") as file:
                    file.write(text.encode())
        except OSError as error:
            raise NotWritten(f"{path.name}: {said_of(error)}", error.errno) from error
    hold_to(form, package, about)
    beside = [path.with_suffix(ending) for ending in others]
    entries: list[FileIssued] = [{"name": path.name, "sha256": digest(path), "rows": rows}]
    return entries + [{"name": other.name, "sha256": digest(other)} for other in beside]


@contextmanager
def _reading(package: Package) -> Iterator[None]:
    """Set GDAL's options for reading, and close what was opened before they are put back."""
    with gdal_options({**NOTHING_BESIDE, **dxf_file.READING}):
        try:
            yield
        finally:
            package.close()
