"""What the lines above a header state of the numbers below it: unit, datum, clock, kind of heights, form of angles.

The one vocabulary for it: a run holds these lines against the job file, a job file that is drafted takes them up.
"""

import re
from collections.abc import Iterator, Sequence

from msgspec import Struct

from pipeline.files.heading_words import run_together, words_of
from pipeline.read.correction_headings import correction_heading, says_base_id
from pipeline.read.heading_units import metres_in_heading, metres_of_unit


def _set_of(words: str) -> frozenset[str]:
    return frozenset(words.split())


#: Words by which a line says that it is of a unit, of a length, of heights, of the plan.
_UNIT = _set_of(
    "unit units einheit einheiten masseinheit unite unites unidad unidades unidade unita eenheid eenheden enhet enheter"
    " enhed enheder yksikko yksikot jednostka jednostki jednotka jednotky"
)
_LENGTH = _set_of(
    "linear length lengths distance distances lange langen laenge distanz distanzen longueur longueurs lineal lineales"
    " longitud distancia distancias lunghezza lunghezze distanza distanze lengte afstand measurement measure"
)
_HEIGHT = _set_of(
    "height heights elevation elevations vertical altitude altitudes hohe hohen hoehe hoehen hauteur hauteurs altura"
    " alturas cota cotas quota quote hoogte hoyde hoyder hojd hojder wysokosc vyska vysky"
)
_PLAN = _set_of(
    "horizontal coordinate coordinates grid plan planimetric eastings northings easting northing koordinaten lage"
    " coordonnees coordenadas coordinate coordinaten koordinater wspolrzedne souradnice"
)
#: Words of a line about other quantities.
_ELSE = _set_of(
    "angle angles angular winkel angulo angulos angolo angoli hoek vinkel time temperature pressure precision sigma rms"
    " accuracy antenna pole rod area areas volume slope"
)
_ANGLE = _set_of(
    "angle angles angular winkel winkelformat angulo angulos angolo angoli hoek hoeken vinkel vinkler degrees"
)
#: What a line calls a datum or grid, a clock, and what heights are above, written together.
_DATUMS = _set_of(
    "datum geodeticdatum horizontaldatum referenceframe referencesystem coordinatesystem coordinatereferencesystem crs"
    " srs projection projectedcrs system grid bezugssystem koordinatensystem referenzsystem geodatischesdatum"
    " systemedecoordonnees systemedereference systemegeodesique sistemadecoordenadas sistemadereferencia"
    " sistemadereferenciacoordenadas datumgeodesico sistemadiriferimento sistemadicoordinate coordinaatsysteem"
    " coordinatenstelsel referentiestelsel koordinatsystem koordinatsystemet referensesystem referenssystem"
    " koordinaattijarjestelma ukladwspolrzednych uklad souradnicovysystem coordsystem coordsys coordinatesys"
)
_CLOCKS = _set_of(
    "timezone timesystem timescale timereference timebase utcoffset timeoffset times clock tz zeitzone zeitsystem"
    " uhrzeiten fuseauhoraire systemedetemps zonahoraria husohorario usohorario fusohorario fusoorario tijdzone"
    " tidssone tidszone tidszon aikavyohyke strefaczasowa casovepasmo casovapasma"
)
_HEIGHTS = _set_of(
    "verticaldatum heightdatum heightsystem heightreference heighttype heightkind heights height elevations elevation"
    " verticalreference verticalsystem verticalcrs heightcrs crsheight crsheights elevationtype elevationdatum"
    " hohensystem hoehensystem hohenbezug hohenart"
    " systemealtimetrique altimetrie sistemaaltimetrico datumvertical datumaltimetrico sistemadealturas"
    " hoogtesysteem hoydesystem hojdsystem korkeusjarjestelma ukladwysokosci vyskovysystem"
)
#: A sentence of a remark: "all heights are in US survey feet", "times in GPS time", "times are UTC".
_SENTENCE = re.compile(
    r"(?P<of>[^.:;,()]+?)\s+(?:(?:are|is)(?:\s+(?:given|shown|expressed))?\s+)?in\s+(?P<what>[^.:;,()]+)"
    r"|(?P<times>times)\s+(?:are|is)\s+(?P<clock>[^.;,()\s]+)$",
    re.IGNORECASE,
)
#: What a base is called: a name or a whole number, no coordinate.
_ID = re.compile(r"(?=[^.]*$|.*[^\W\d_])[^\W_][\w .()/-]{0,30}")
#: How words begin that are said of a frame too: "Reference: ETRS89".
_FRAME = ("ref", "rif")
_REMARK = re.compile(r'^[\s"#%;!*/]+')


class Statement(Struct, frozen=True):
    """What one line above a header states: its number, counted from 1, what of, as it stands, and its value."""

    line: int
    key: str
    value: str

    @property
    def shown(self) -> str:
        """The statement as it is told."""
        return f'"{self.key}: {self.value}" in line {self.line}'


def of_heights(said: Statement) -> bool:
    """Tell whether a statement is of what heights are above."""
    return run_together(said.key) in _HEIGHTS and _is_kind(said)


def of_datum(said: Statement) -> bool:
    """Tell whether a statement is of a datum or grid."""
    return run_together(said.key) in _DATUMS and _is_text(said)


def of_clock(said: Statement) -> bool:
    """Tell whether a statement is of a clock."""
    return run_together(said.key) in _CLOCKS


class UnitAbove(Struct, frozen=True):
    """A unit of lengths, metres that it may be, that lines above a header state of heights, of the plan or of both."""

    said: Statement
    metres: tuple[float, ...]
    up: bool
    plan: bool


def units_above(above: Sequence[str]) -> list[UnitAbove]:
    """Return the units of lengths that the lines above a header state."""
    found = []
    for said in statements(above):
        words = set(words_of(said.key))
        up, plan, length = (bool(words & one) for one in (_HEIGHT, _PLAN, _LENGTH))
        if words & _ELSE or not (words & _UNIT or words <= _LENGTH | _HEIGHT | _PLAN):
            continue
        if metres := _metres(said.value):
            both = length or up == plan
            found.append(UnitAbove(said, metres, up or both, plan or both))
    return found


def datum_above(above: Sequence[str]) -> Statement | None:
    """Return the datum or grid that the lines above a header state by name, None where none does."""
    return next((said for said in statements(above) if of_datum(said)), None)


def clock_above(above: Sequence[str]) -> Statement | None:
    """Return the clock that the lines above a header state, None where none does."""
    return next((said for said in statements(above) if of_clock(said)), None)


def heights_above(above: Sequence[str]) -> Statement | None:
    """Return what the lines above a header state heights to be above, None where none does."""
    return next((said for said in statements(above) if of_heights(said)), None)


def base_above(above: Sequence[str]) -> Statement | None:
    """Return the base of all readings that the lines above a header state by its id, None where none does."""
    return next((said for said in statements(above) if _is_of_base(said.key) and _is_id(said.value)), None)


def _is_of_base(key: str) -> bool:
    """Tell whether a key is of base ids; a reference without a word of a base or station may be a frame."""
    return correction_heading(key) == "base" and (says_base_id(key) or not key.strip().casefold().startswith(_FRAME))


def angles_above(above: Sequence[str]) -> Statement | None:
    """Return the form of angles that the lines above a header state, None where none does."""
    return next((said for said in statements(above) if _ANGLE & set(words_of(said.key)) and _is_text(said)), None)


def _is_text(said: Statement) -> bool:
    return any(map(str.isalpha, said.value))


def _is_id(value: str) -> bool:
    return _ID.fullmatch(value) is not None


def _is_kind(said: Statement) -> bool:
    return _is_text(said) and not _metres(said.value) and not re.match(r"[+-]?\d", said.value)


def _metres(value: str) -> tuple[float, ...]:
    """Return the metres that a unit may be, which stands alone or before another spelling of it in brackets."""
    before = re.sub(r"\s*[\[({<].*", "", value)
    if any(map(str.isdigit, before)):  # a length, such as a pole's
        return ()
    if run_together(value) in ("metric", "metrisch", "metrique", "metrico"):
        return (1.0,)
    for text in (value, before):
        if found := metres_of_unit(text.strip("[](){}<> .")) or metres_in_heading(f"x {text}"):
            return found
    return ()


def statements(above: Sequence[str]) -> Iterator[Statement]:
    """Yield what each line says: a cell and the one behind it, what stands before and behind a colon, a sentence."""
    for number, line in enumerate(above, start=1):
        text = _REMARK.sub("", line)
        cells = [cell.strip(' "') for cell in re.split(r"[,;\t|]", text)]
        for cell, behind in zip(cells, [*cells[1:], ""], strict=True):
            parts = re.fullmatch(r"([^:=]+?)\s*[:=]+\s*(.+)", cell)
            key, value = (parts[1], parts[2]) if parts is not None else (cell.strip(" :="), behind)
            if key and value:
                yield Statement(number, key, value)
        for found in _SENTENCE.finditer(text):
            if (key := _subject(found["of"] or found["times"])) is not None:
                yield Statement(number, key, (found["what"] or found["clock"]).strip())


def _subject(clause: str) -> str | None:
    """Return what a sentence is of, in the words that are known; None for any other."""
    words = words_of(clause)
    if {"time", "times"} & set(words):
        return "times"
    known = [word for word in words if word in _UNIT | _LENGTH | _HEIGHT | _PLAN]
    return " ".join(known) if known and not _ELSE & set(words) else None
