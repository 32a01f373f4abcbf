"""Tells what files say beside their rows of the readings and a run does not read, where it is not what the job says.

Units are held against the job where files are looked at. Here it is heights, geoid, datum, clock, epoch and antenna.
"""

import re
from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Integers
from pipeline.examine.headed_clocks import said_otherwise
from pipeline.files.heading_words import run_together
from pipeline.geodesy.crs import source_crs
from pipeline.geodesy.crs_hints import crs_hint
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.indirect_operations import moves_with_time, same_datum
from pipeline.geodesy.realisations import realised
from pipeline.intake.epochs import ONE_EPOCH
from pipeline.intake.file_log import FileLog
from pipeline.intake.survey import Survey
from pipeline.letter_case import folded
from pipeline.read.exports import Export
from pipeline.read.lines_above import Statement, of_clock, of_datum, of_heights, statements
from pipeline.read.pole_headings import says_pole
from pipeline.visible import one_line

#: What a geoid model and an epoch are called, written together.
_GEOIDS = frozenset(
    ("geoid", "geoidmodel", "geoidmodell", "geoidgrid", "geoidfile", "geoide", "geoidegrid", "geoidemodel",
     "modelogeoide", "modelegeoide")
)  # fmt: skip
_EPOCHS = frozenset(
    ("epoch", "epoche", "epoque", "epoca", "epoka", "epoki", "epokk", "epooke", "coordinateepoch", "referenceepoch")
)
#: Words for no geoid, and what none is written as.
_NONE = frozenset(("", "none", "no", "off", "ellipsoid", "keines", "kein", "aucun", "ninguno", "nessuno", "nenhum"))
#: A name and a number without a colon: "antenna height 2.000".
_PLAIN = re.compile(r"\W*(?P<key>[^\W\d][^\d:=,;]*?)\s+(?P<value>[+-]?\d+(?:[.,]\d+)?\s*[^\W\d]{0,4})\W*")
#: The first number of a text.
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_CODE = re.compile(r"EPSG:\d+")


def said_otherwise_notes(survey: Survey) -> Iterator[str]:
    """Yield what each export says beside its rows that is not what the job file says; the same of several once."""
    told: dict[str, list[str]] = {}
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        for line, what in _otherwise(survey, export, log) if export.said else ():
            told.setdefault(what, []).append(f"{export.shown}:{line}")
    for what, places in told.items():
        more = f" (and {len(places) - 1} more)" if len(places) > 1 else ""
        yield f"{places[0]}{more}: {what}"


def _otherwise(survey: Survey, export: Export, log: FileLog) -> Iterator[tuple[int, str]]:
    """Yield the lines of what is said beside an export's rows and is not what the job says, and why."""
    kinds = set[str]()
    for one in export.said:
        for said in _said(one.text):
            kind, why = _why(survey, export, log, said)
            if why and kind not in kinds:
                kinds.add(kind)
                shown = one_line(f"{said.key}: {said.value}")
                yield one.line, f'"{shown}" is stated {one.where}, which a run does not read: {why}'


def _said(text: str) -> Iterator[Statement]:
    yield from statements([text])
    if (plain := _PLAIN.fullmatch(text)) is not None:
        yield Statement(1, plain["key"], plain["value"])


def _why(survey: Survey, export: Export, log: FileLog, said: Statement) -> tuple[str, str]:
    """Return what a statement is of, and why it is told; "" for nothing."""
    key = run_together(said.key)
    number = _NUMBER.search(said.value)
    if says_pole(said.key):
        return "pole", _pole(export, number)
    if of_heights(said):
        return "heights", _heights(export, f"Height ({said.value})")
    if key in _GEOIDS and run_together(said.value) not in _NONE:
        return "heights", _heights(export, "Height (geoid)")
    if of_datum(said):
        return "datum", _datum(export, said.value)
    if of_clock(said):
        return "clock", _clock(export, log, said.value)
    if key in _EPOCHS and number is not None:
        return "epoch", _epoch(survey, export, log, float(number[0].replace(",", ".")))
    return "", ""


def _pole(export: Export, number: re.Match[str] | None) -> str:
    if number is None or not float(number[0].replace(",", ".")) or export.points.columns.pole_height is not None:
        return ""
    return (
        "heights count as those of the ground, by which the shift from ties on marks takes up an antenna that was"
        " always as high; where they are of the antenna and it was not, write a column of its heights and map it as"
        " pole_height"
    )


def _heights(export: Export, heading: str) -> str:
    from pipeline.read.height_headings import HeightKind, height_kind_in_heading  # few files say anything of it

    said = height_kind_in_heading(heading)
    taken = HeightKind.LEVEL if source_crs(export.points.crs or "").is_compound else HeightKind.ELLIPSOIDAL
    said = HeightKind.LEVEL if said is HeightKind.OF_GEOID else said
    if said not in (HeightKind.LEVEL, HeightKind.ELLIPSOIDAL) or said is taken:
        return ""
    return (
        f"that is of {said}, and with this crs the heights are read as {taken}; give a crs whose heights are what the"
        " file has, or export the others"
    )


def _datum(export: Export, value: str) -> str:
    """Return that a datum is another than that of the crs; nothing of what is none that the registry knows."""
    crs = export.points.crs or ""
    if run_together(value) in run_together(source_crs(crs).name):
        return ""
    called = [f"EPSG:{code}" for code in re.findall(r"epsg\W*(\d{4,6})", folded(value))]
    codes = called or _CODE.findall(crs_hint(value))
    if not codes or any(_same(crs, code) for code in codes):
        return ""
    return f"the positions are read in {source_crs(crs).name}, as the job file states; correct crs if the file is right"


def _same(crs: str, code: str) -> bool:
    """Tell whether a code is of the datum of a crs, or of no positions."""
    try:
        return same_datum(crs, code)
    except OperationError:
        return True


def _clock(export: Export, log: FileLog, value: str) -> str:
    offset = re.fullmatch(r"(?:utc|gmt)?\s*([+\-\u2212\u2013]\d{1,2}(?::?\d\d)?)(?:\s*h)?", folded(value))
    minutes: Integers = np.concatenate([np.zeros(0, np.int64), *(minute for minute, _ in log.clock().values())])
    headed = said_otherwise(export, [f"t [UTC{offset[1]}]" if offset is not None else f"t [{value}]"], minutes)
    if headed is None:
        return ""
    zone = export.points.time_zone
    return f'times are {headed.stated} by that, and are read by time_zone = "{zone}"; correct it if the file is right'


def _epoch(survey: Survey, export: Export, log: FileLog, year: float) -> str:
    if not moves_with_time(realised(export.points.crs or "", export.points.realisation)):
        return ""
    sessions = np.flatnonzero(log.sessions).tolist()
    stated = survey.operations.epochs[sessions, export.block] if sessions else np.zeros(0)
    if len(stated) and (np.abs(stated - year) <= ONE_EPOCH).all():
        return ""
    return "the job file states another epoch of these readings, or none; state it as epoch if it matters"
