"""Reads from a column heading what its heights refer to, or that they are geoid separations.

The one vocabulary for it: a run holds the headings of mapped columns against the job file by it, and a job file that is
drafted takes its columns by it. Word order counts: "height above geoid" is a height, "geoid height" a separation.
"""

import re
from enum import Enum, auto
from functools import lru_cache

from msgspec import Struct

from pipeline.files.heading_words import plain_letters, run_together, set_apart
from pipeline.geodesy.registry import height_datum_words
from pipeline.geodesy.unit_words import LENGTHS_SAID
from pipeline.read.usual_heights import USUAL as USUAL
from pipeline.read.usual_heights import HeightKind as HeightKind
from pipeline.replace import replace


class HeightHeading(Struct, frozen=True):
    """What a heading says: ``plain`` where it says so without a doubt, ``whole`` where no word of it is unknown."""

    kind: HeightKind
    plain: bool = False
    whole: bool = False

    @property
    def mostly_level(self) -> bool:
        """Whether the heading is one that is usual for heights above a height datum, and found over others too."""
        return self.kind is HeightKind.LEVEL and not self.plain


class _Class(Enum):
    """What a word of a heading is."""

    NEGATION = auto()
    NO_HEIGHT = auto()
    GEOID_HEIGHT = auto()
    UNDULATION = auto()
    SEPARATION = auto()
    GEOID = auto()
    OF_GEOID = auto()
    MODEL = auto()
    ELLIPSOID = auto()
    ELLIPSOIDAL = auto()
    REFERENCE = auto()
    LEVEL = auto()
    ABBREVIATED = auto()
    NORMAL = auto()
    MOSTLY_LEVEL = auto()
    DATUM = auto()
    GAUGE = auto()
    HEIGHT = auto()
    ABOVE = auto()
    OF = auto()
    CORRECTED = auto()
    BETWEEN = auto()
    UNKNOWN = auto()


_HEIGHT_WORDS = (
    r"(?:hts?|hgts?|heights?|alt|altitudes?|altitud|elev|elevations?|hohen?|hoehen?|hauteurs?|alturas?|cotas?|cote|"
    r"altitudin[ei]|quotas?|quote|altezz[ae]|hoogten?|hoyder?|hoeyde|hojd|hojder?|hoejder?|kot(?:[ea]r?)?|korkeu\w*|wysokosc\w*|wys|rzedna|"
    r"vysk[ay]|vysek|magassag\w*|yukseklig?i?k?|visina|tinggi|ketinggian|inaltime|haeð(?:in|ar)?)"
)
_SEPARATIONS = (
    r"(?:sep|separations?|separaci?on(?:es)?|separacao|separazione|separatie|abstand|afstand|avstand|scheiding|odstep|"
    r"αποχη|prevyseni|zvlneni|offset)"
)
_UNDULATIONS = (
    r"(?:undulations?|undulation(?:en|er)|ondulations?|ondulacion(?:es)?|ondulacao|ondulazion[ei]|undulaci?on|"
    r"ondulatie|undulatie|undulacj[ae]|undulace|undulasjon|undulaatio)"
)
#: Words of precisions, errors, differences and of ellipsoids as such, in more languages: stems, from memory.
_IN_DOUBT = (
    r"presnost\w*|odchyl\w*|nejistot\w*|neistot\w*|noggrannhet\w*|osakerhet\w*|medelfel\w*|usikker\w*|nojagtig\w*|"
    r"noyaktig\w*|standarda[vb]\w*|standaardaf\w*|spredning|nauwkeurig\w*|onzeker\w*|incert\w*|erro|errore|"
    r"dokladnosc\w*|niepewnosc\w*|unsicherheit\w*|"
    r"отклонени\w*|разност\w*|неопределенност\w*|сигма|тип|полуос\w*|сжати\w*|названи\w*|похибк\w*|"
    r"в[иі]дхиленн\w*|р[иі]зниц\w*|невизначен\w*|п[иі]вв[иі]с\w*|грешк\w*|разлик\w*|неопределеност\w*|"
    r"тачност\w*|прецизн\w*|одступањ\w*|ακριβει\w*|σφαλμα\w*|αποκλισ\w*|αβεβαιοτητ\w*|διαφορ\w*|τυποσ|τυπικ\w*|"
    r"μοντελο\w*|ημιαξον\w*|σιγμα|tocnost\w*|tacnost\w*|preciznost\w*|natancnost\w*|gresk\w*|pogresk\w*|"
    r"napak\w*|odstupanj\w*|odklon\w*|nesigurnost\w*|negotovost\w*|razlik\w*|poluos\w*|vrsta|\w*tapsus\w*|"
    r"\w*viga|\w*vea|\w*maaramatus\w*|\w*halve|\w*halbe|\w*vahe|korvalekal\w*|mudel\w*|precizitat\w*|klud\w*|"
    r"noviz\w*|nenoteikt\w*|starpib\w*|tikslum\w*|paklaid\w*|nuokryp\w*|neapibrezt\w*|skirtum\w*|precizi\w*|"
    r"eroar\w*|erori\w*|abater\w*|incertitud\w*|diferent\w*|acuratet\w*|hassasiyet\w*|hata\w*|dogrulu\w*|"
    r"sapma\w*|belirsizlik\w*|fark\w*|pontossag\w*|hiba\w*|szoras\w*|elteres\w*|bizonytalansag\w*|kulonbseg\w*|"
    r"\w*tarkkuu\w*|\w*tarkkuud\w*|\w*virhe|\w*hajon\w*|epavarmuu\w*|ketelitian|akurasi|kesalahan|simpangan|"
    r"xac|sai"
)
#: Words that are read since these languages are: beside one that is not known they say nothing for sure.
_FURTHER = re.compile(
    r"[\u0370-\u03ff\u0400-\u04ff]|\b(?:elipsoid(?:n|in|a[al])\w*|elip[xs]oit|elipsoida|ellipsoidaal\w*|ellipsoidi\w*|"
    r"visin\w*|korgus\w*|augstum\w*|auks[tc]\w*|inaltim\w*|cao|iznad|deasupra|peste|virs|tren|tinggi|ketinggian)\b"
)
#: Words by what they are, in the languages of the trade; the first that a word fits counts.
_WORDS: tuple[tuple[_Class, str], ...] = (
    (_Class.NEGATION, r"no|not|non|without|excl|excluding|minus|less|ohne|sans|sin|sem|senza|kein|keine|zonder|uten|"
                      r"uden|utan|ilman|bez"),
    (_Class.NO_HEIGHT, r"err|errors?|sigma|sd|std|stdev|stddev|rms|acc|accuracy|prec|precision|uncertainty|quality|"
                       r"names?|type|\w*model\w*|id|dist|distance|diff|difference|delta|semi|major|minor|axis|axes|"
                       r"ellipses?|elipses?|angle|mask|genauigkeit|fehler|precisi\w*|ecart|desv\w*|erreur|fejl|fel|feil|"
                       r"blad|chyba|scarto|ско|скп|ошибк\w*|погрешност\w*|точн[оі]ст\w*|модел\w*|помилк\w*|"
                       + _IN_DOUBT),
    (_Class.GEOID_HEIGHT, rf"(?:quasi)?geoid(?:al|en?|in?|s)?(?:{_HEIGHT_WORDS}|{_SEPARATIONS}|{_UNDULATIONS})|"
                          rf"geosep|nsep|ジオイド高"),
    (_Class.UNDULATION, rf"{_UNDULATIONS}|hohenanomalien?|hoehenanomalien?|anomali?(?:y|e|a)(?:wysokosci)?|"
                        r"height ?anomaly"),
    (_Class.SEPARATION, _SEPARATIONS),
    (_Class.OF_GEOID, r"(?:квази)?гео[иі]да|(?:σχεδον)?γεωειδουσ|geoidick\w*|"
                       r"(?:quasi)?geoid(?:al\w*|u|y|in|ets|ens)"),
    (_Class.GEOID, r"(?:quasi)?geoid\w*|(?:квази)?гео[иі]д\w*|γεωειδ\w*"),
    (_Class.MODEL, r"egm\d*"),
    (_Class.ELLIPSOIDAL, rf"h?ell?(?:ip(?:s(?:oid\w*?)?)?)?(?:{_HEIGHT_WORDS}|h)|hae|h?ellip?soidal\w*|"
                         rf"ell?ipsoidis[ck]\w*|ell?ipsoidique|ell?issoidic\w*|elipsoidal\w*|elipsoidick\w*|"
                         rf"{_HEIGHT_WORDS}ell?(?:ip\w*)?|sporvoluhaeð|楕円体高|elipsoidn\w*|elipsoidin\w*|elipsoida[al]\w*|"
                         r"[еэ]лл?[иі]псо[иі]д(?:альн|н|ичн|ическ)\w*|ελλειψοειδ\w*"),
    (_Class.ELLIPSOID, r"sporvolu|sporvala|"
                       r"h?ell|h?ell?ips?|h?ell?ipsoid\w*|ell?iss?oid\w*|elliss|elipsoit\w*|elip[xs]oit|"
                       r"[еэ]лл?[иі]псо[иі]д\w*|ελλειψοειδου?σ?"),
    (_Class.REFERENCE, r"wgs84|wgs|grs80|grs|геодезичн\w*|геодезическ\w*"),
    (_Class.LEVEL, r"hort|h?orth(?:o|om\w*)?|h?orto(?:m\w*)?|orth?o(?:h|ht|hgt|hts|height|elev\w*)|"
                   r"m?h?a?msl(?:ht|height)?|m?asl|slm|msnm|snm|nmm|npm|mnm|moh|mslm|bpv|navd\d*|ngvd\d*|nhn|dhhn\d*|"
                   r"nzvd\d*|(?:pl)?evrf\d*(?:nh)?|evrs|nap\d*|taw|dng|odn|ngf|ign(?:69|78)|nn(?:54|1954|2000)|"
                   r"rh(?:00|70|2000)|n(?:43|60|2000)|cgvd\d*|dvr90|kron\d+|kronsztadt?\w*|lhn95|ln02|"
                   r"ahd\d*|ran95|eh2000|las(?:07|2000)|ish2004|"
                   r"meeres(?:hohe|hoehe|spiegel|niveau)|seehohe|seehoehe|nadmorska|gebrauchshohe|"
                   rf"(?:nhn|nn|nap|ngf|msl|normal|orthom?\w*){_HEIGHT_WORDS}|標高|ортометр\w*|бс77|балтииск\w*|балт[иі]иськ\w*"),
    (_Class.ABBREVIATED, r"nn|ort|normalnull"),
    (_Class.NORMAL, r"normal\w*|нормальн\w*|normaal|nivell?iert\w*|levell?ed|gravity"),
    (_Class.MOSTLY_LEVEL, r"elev(?:ation|ations|s)?|elevasi|elevacion(?:es)?|elevac(?:ao|oes)|elv|rl|mpd|reducedlevel"),
    (_Class.HEIGHT, rf"{_HEIGHT_WORDS}|h|z|koordh|zcoord|coordz|υψομετρο|υψοσ|высот[аы]|висот[аи]|"
                    r"височин(?:а|ата|и|ите)|отметк[аи]|cao|visin[aeiu]|visinom|korgus(?:e|ed|te|t|est)?|augstum[saui]|"
                    r"aukst(?:is|i|iai)|auksci[ou]|inaltim(?:e|ea|i|ii|ile|ilor)"),
    (_Class.ABOVE, r"above|over|to|from|on|wrt|referred|relative|uber|ueber|u|ue|sobre|sur|dessus|sul|sulla|sopra|"
                   r"sull|boven|tov|op|acima|nad|ovenfor|ovan|ylapuolella|ylapuolinen|yli|yfir|над|tren|"
                   r"от|в[иі]д|πανω|απο|iznad|deasupra|peste|virs"),
    (_Class.OF, r"of|du|des|de|del|della|dell|do|van|av|af|von|d"),
    (_Class.CORRECTED, r"corrected|corr|based|referenced|reduced|applied|korrigiert\w*|corrige\w*|corregid[ao]|"
                       r"corrigid[ao]|corretta|gecorrigeerd\w*|korrigeret|korrigert|korrigerad"),
    (_Class.BETWEEN, r"the|a|au|dem|den|der|das|el|la|le|l|il|lo|het|al|quasi|t|o|v|at|in|i|mean|sea|levels?|datum|"
                     r"zero|gps|gnss|up|pl|nh|mittlere\w*|us|survey|int|intl|international|đo|м|το|του|την|τησ"),
)  # fmt: skip
_COMPILED = tuple((kind, re.compile(pattern)) for kind, pattern in _WORDS)
#: Words of the sea's level in several words or letters with points, put as one: metres above it in many languages.
_SEA = re.compile(
    r"(?:mean )?sea ?level(?: datum)?|niveaux? (?:moyen )?(?:de la mer|des mers)|"
    r"ni?vel (?:medio )?(?:del|do) mar(?: medio)?|livello (?:medio )?del mare|(?<=sul )mare|"
    r"(?:gemiddeld )?zee(?:niveau|spiegel)|"
    r"(?:middel)?hav(?:et\b|s?niva\w*|sniveau\w*|overflat\w*|soverflade\w*|sytan?)|"
    r"merenpin\w+|poziom\w* morza|(?:hladin\w+ )?mor[ei]m\b|"
    r"\bm ?u\. ?[ma]\b\.?|\bs\. ?l\. ?m\b\.?|\bn\. ?p\. ?m\b\.?|\bm ?n\. ?m\b\.?|\bs\. ?n\. ?m\b\.?|\bm ?o\. ?h\b\.?|"
    r"\ba\. ?(?:m\. ?)?s\. ?l\b\.?|\bb\. ?p\. ?v\b\.?"
)
#: Names of height datums and models with their year set apart: "RH 2000", "WGS 84".
_YEAR_APART = re.compile(
    r"\b(navd|ngvd|dhhn|evrf|rh|nn|dvr|ln|ign|cgvd|nzvd|egm|lhn|eh|ish|las|ahd|ran|wgs|grs|n(?= ?(?:2000|60|43)\b))"
    r"[ -]{1,2}(\d{2,4})\b"
)
#: Words that mean another point than the row's own.
_ELSEWHERE = frozenset(["base", "bases", "ref", "reference", "master", "antenna", "ant", "design", "target"])
#: Ports and seas by which height datums are called, in the languages of their countries, besides the registry's names:
#: beside a word for height they are one.
_GAUGES = frozenset(
    ("adria", "adriatic", "adriatico", "adriatique", "jadran", "amsterdam", "amsterdams", "ostende", "oostende",
     "kronstadt", "kronstad", "kronshtadt", "newlyn", "genova", "genua", "genoa", "genes", "triest", "trst", "trstu",
     "marseille", "piraeus", "pireus", "baltic", "baltico", "balti", "baltijas", "baltijos", "balt", "ostsee", "las",
     "sjo", "sjavarmal", "sjavarmali")
)  # fmt: skip
#: Words of the registry's names of height datums that say something else in a heading.
_NO_DATUM = frozenset(
    ("tree", "point", "one", "head", "fair", "island", "isle", "isles", "black", "north", "yellow", "danger", "santa",
     "gran", "dau", "das", "cruz", "tide", "mean", "height", "sea", "lat", "hat", "local", "el", "la", "da", "do", "st")
)  # fmt: skip


@lru_cache(maxsize=4096)
def read_height_heading(heading: str) -> HeightHeading:
    """Return what a heading says of the numbers below it."""
    plain = plain_letters(heading)
    parts = [part for part in re.split(r"([(\[{][^)\]}]*[)\]}]?)", _spaced(plain)) if part.strip()]
    outside = _classes(" ".join(part for part in parts if part[0] not in "([{"))
    found = _classes(" ".join(re.sub(r"[(\[{)\]}]", " ", part) for part in parts))
    known = _Class.UNKNOWN not in found
    # what stands in brackets beside a word for height may be anything
    whole = known or bool(outside and set(outside) <= {_Class.HEIGHT, _Class.BETWEEN} and _Class.HEIGHT in outside)
    letters = re.sub(r"\s*[(\[].*", "", plain).strip()
    if letters in ("N", "n") or (letters.casefold() in ("zeta", "sep", "separation") and not re.search(r"\w\s", plain)):
        return HeightHeading(HeightKind.SEPARATION, letters == "N", True)
    said = _judged(found, outside, whole)
    if not known and said.plain and _FURTHER.search(_spaced(plain)):
        said = replace(said, plain=False)
    if not said.plain and said.kind in (HeightKind.OTHER, HeightKind.HEIGHT):
        bare = run_together(letters)
        kind = next((kind for kind, headings in USUAL.items() if bare in headings), None)
        return (
            said
            if kind is None or (kind is HeightKind.HEIGHT and said.kind is kind)
            else HeightHeading(kind, False, True)
        )
    return said


def height_kind_in_heading(heading: str) -> HeightKind | None:
    """Return what a heading says without a doubt of the heights below it; None where it says nothing for sure."""
    said = read_height_heading(heading)
    return said.kind if said.plain else None


def kind_beside(heading: str) -> HeightKind | None:
    """Return the same of a column beside the mapped one; None too where its heights are another point's."""
    return None if _ELSEWHERE & set(_tokens(_spaced(plain_letters(heading)))) else height_kind_in_heading(heading)


def _judged(found: list[_Class], outside: list[_Class], whole: bool) -> HeightHeading:
    """Return what the words of a heading say together, those outside brackets being known apart."""
    there = set(found)
    height = bool(there & {_Class.HEIGHT, _Class.MOSTLY_LEVEL})
    if _Class.NO_HEIGHT in there:
        return HeightHeading(HeightKind.OTHER)
    if _Class.NEGATION in there:  # it takes back what others say
        return HeightHeading(HeightKind.HEIGHT if height else HeightKind.OTHER, False, whole)
    if there & {_Class.GEOID, _Class.OF_GEOID, _Class.GEOID_HEIGHT, _Class.UNDULATION}:
        return _of_geoid(found, outside, whole)
    return _of_surfaces(found, height, whole)


def _of_surfaces(found: list[_Class], height: bool, whole: bool) -> HeightHeading:
    """Return what a heading says of heights that does not name the geoid: the first of what follows that is so."""
    there = set(found)
    ellipsoid = bool(there & {_Class.ELLIPSOID, _Class.ELLIPSOIDAL})
    joined = height or _Class.ABOVE in there
    level = _Class.LEVEL in there or (joined and bool(there & {_Class.ABBREVIATED, _Class.MODEL}))
    both, model_alone = ellipsoid and level, _Class.MODEL in there and not joined and not level  # EGM96
    in_turn = (
        (ellipsoid and _Class.SEPARATION in there, HeightHeading(HeightKind.SEPARATION, False, whole)),
        (both, HeightHeading(HeightKind.HEIGHT if height else HeightKind.OTHER)),
        (model_alone, HeightHeading(HeightKind.OF_GEOID, False, whole)),
        (ellipsoid, HeightHeading(HeightKind.ELLIPSOIDAL, joined or _Class.ELLIPSOIDAL in there, whole)),
        (level, HeightHeading(HeightKind.LEVEL, True, whole)),
        (_Class.NORMAL in there and height, HeightHeading(HeightKind.LEVEL, whole, whole)),
        (_Class.DATUM in there and (height or there == {_Class.DATUM}), HeightHeading(HeightKind.LEVEL, False, whole)),
        (_Class.GAUGE in there and height, HeightHeading(HeightKind.LEVEL, False, whole)),
        (_Class.REFERENCE in there and height, HeightHeading(HeightKind.ELLIPSOIDAL, False, whole)),
        (_Class.MOSTLY_LEVEL in there, HeightHeading(HeightKind.LEVEL, False, whole)),
        (height, HeightHeading(HeightKind.HEIGHT, False, whole)),
    )
    return next((said for is_so, said in in_turn if is_so), HeightHeading(HeightKind.OTHER))


_HEIGHTS, _GEOIDS = (_Class.HEIGHT, _Class.MOSTLY_LEVEL), (_Class.GEOID, _Class.OF_GEOID)


def _of_geoid(found: list[_Class], outside: list[_Class], whole: bool) -> HeightHeading:
    """Return what a heading says that names the geoid, or how far it lies from the ellipsoid."""
    there = set(found)
    named_outside = {*_GEOIDS, _Class.GEOID_HEIGHT, _Class.UNDULATION} & set(outside)
    beside = any(each in outside for each in _HEIGHTS) and not named_outside
    ellipsoid = bool(there & {_Class.ELLIPSOID, _Class.ELLIPSOIDAL})
    if there & {_Class.GEOID_HEIGHT, _Class.UNDULATION}:
        if _Class.CORRECTED in there:  # of what was corrected, or with what, is open
            return HeightHeading(HeightKind.LEVEL, False, whole)
        return HeightHeading(HeightKind.OF_GEOID) if beside else HeightHeading(HeightKind.SEPARATION, True, whole)
    if _Class.CORRECTED in there and not ellipsoid:
        return HeightHeading(HeightKind.LEVEL, True, whole)
    if _Class.SEPARATION in there:
        return HeightHeading(HeightKind.SEPARATION, True, whole)
    words: list[_Class] = [each for each in found if each not in (_Class.BETWEEN, _Class.UNKNOWN)]
    at = next(place for place, each in enumerate(words) if each in _GEOIDS)
    if ellipsoid:
        # else which of the two surfaces the number is above is open
        apart = not beside and _above_ellipsoid(words[:at], words[at + 1 :])
        return HeightHeading(HeightKind.SEPARATION, True, whole) if apart else HeightHeading(HeightKind.HEIGHT)
    return _by_order(words, at, beside, whole)


def _above_ellipsoid(before: list[_Class], behind: list[_Class]) -> bool:
    """Tell whether a heading says the geoid above the ellipsoid, by the words before the geoid and behind it."""
    # the Greek word for the ellipsoid is the one for ellipsoidal, too
    surface = {_Class.ELLIPSOID, _Class.ELLIPSOIDAL}
    below = _Class.ABOVE in behind and bool(surface & set(behind[behind.index(_Class.ABOVE) :]))
    return below and not {_Class.ELLIPSOID, _Class.ELLIPSOIDAL} & set(before)


def _by_order(words: list[_Class], at: int, beside: bool, whole: bool) -> HeightHeading:
    """Return what words say by their order around the geoid, the one ``at`` a place, no ellipsoid being named."""
    before, behind = words[:at], words[at + 1 :]
    # "au dessus du": what stands between may be of the same
    last = [each for each in before if each is not _Class.OF][-1:]
    if last == [_Class.ABOVE] or (behind[:1] == [_Class.ABOVE] and before == [_Class.HEIGHT] and len(behind) == 1):
        return HeightHeading(HeightKind.LEVEL, True, whole)
    if beside:
        geoid_height = any(each in behind for each in _HEIGHTS)
        return HeightHeading(HeightKind.OF_GEOID) if geoid_height else HeightHeading(HeightKind.LEVEL, True, whole)
    if behind[:1] == [_Class.HEIGHT] or (before[-1:] == [_Class.OF] and last == [_Class.HEIGHT]):
        return HeightHeading(HeightKind.SEPARATION, True, whole)
    if words[at] is _Class.OF_GEOID and before[-1:] == [_Class.HEIGHT]:
        return HeightHeading(HeightKind.SEPARATION, True, whole)
    return HeightHeading(HeightKind.OF_GEOID, False, whole)


def _spaced(plain: str) -> str:
    """Return a heading in small letters with its words set apart, "OrthoHt" being two, and usual phrases as one."""
    apart = set_apart(plain.replace("_", " "))
    apart = re.sub(r"\b(ellipso|geo)idista\b", r"over \1id", " ".join(apart.split()).casefold())
    return _SEA.sub(" msl ", _YEAR_APART.sub(r"\1\2", apart))


def _tokens(spaced: str) -> list[str]:
    together = re.sub(r"(?:(?<![^\W_])[^\W\d_]\.){2,}", lambda found: found[0].replace(".", "") + " ", spaced)
    return re.findall(r"[^\W_]+", together)


def _classes(spaced: str) -> list[_Class]:
    return [kind for token in _tokens(spaced) if (kind := _class(token)) is not None]


def _class(token: str) -> _Class | None:
    """Return what a word is; None for figures alone."""
    found = next((kind for kind, pattern in _COMPILED if pattern.fullmatch(token)), None)
    if found is not None:
        return found
    if token in LENGTHS_SAID:
        return _Class.BETWEEN
    if token in _datums():
        return _Class.DATUM
    if token in _GAUGES:
        return _Class.GAUGE
    return None if token.isdecimal() and len(token) == 4 else _Class.UNKNOWN


@lru_cache(maxsize=1)
def _datums() -> frozenset[str]:
    """Return the words by which the registry names height datums, with their years and without, in small letters."""
    found = {word.casefold() for word in height_datum_words() if len(word) > 2}
    found |= {word.rstrip("0123456789") for word in found if len(word.rstrip("0123456789")) > 3}
    return frozenset(found - _NO_DATUM)
