"""Reads from a column heading the direction of its precisions, and whether they are standard uncertainties.

The one vocabulary for it: a job file that is drafted takes its columns by it, and a run tells columns by it that are
precisions and were left unmapped. Words of languages other than English are from memory: a word that is not known
takes the plainness away, so that a column is told and not taken.
"""

import re
from collections.abc import Iterator
from enum import Enum, auto
from functools import lru_cache

from msgspec import Struct

from pipeline.files.heading_words import plain_letters, with_numbers, words_of
from pipeline.geodesy.unit_words import LENGTHS_SAID


class Side(Enum):
    """Of which direction a precision is; X, Y and Z are axes, H may be of the plan or of the height."""

    EAST = auto()
    NORTH = auto()
    UP = auto()
    PLAN = auto()
    X = auto()
    Y = auto()
    Z = auto()
    H = auto()
    OPEN = auto()


class PrecisionHeading(Struct, frozen=True):
    """What a heading says.

    ``sigma`` tells that it says a standard deviation, ``wider`` that it says more than one (95 %, two sigma),
    ``square`` that it says a variance; where none is so it does not say of what kind it is. ``plain`` where no word of
    it is unknown.
    """

    side: Side
    sigma: bool = False
    wider: bool = False
    plain: bool = True
    square: bool = False


#: What says that a precision is wider than a standard uncertainty.
WIDER = re.compile(r"(?<!\d)(?:95|99|2\s?(?:sigma|σ|sd|s(?![a-z]))|2drms|cep|r95)", re.IGNORECASE)

#: Standard deviations, in small letters without accents, parted by commas as some are of several words.
_SIGMA = """
    sigma, σ, sd, std, std dev, stddev, st dev, stdev, stdv, standard deviation, standard deviations, standard error,
    std err, std error, standardabweichung, standardabweichungen, stdabw, std abw, mittlerer fehler, mittl fehler,
    ecart type, ecarts types, ecarttype, desviacion tipica, desviacion estandar, desviacion standard, desv est,
    desv std, desv tip, desvio padrao, deviazione standard, dev std, scarto quadratico medio, scarto tipo,
    standaardafwijking,
    standaarddeviatie, middelfout, middelbare fout, standardavvik, standardavvikelse, standardafvigelse, middelfeil,
    middelfejl, medelfel, keskihajonta, keskivirhe, odchylenie standardowe, odch std, sredni blad, blad sredni,
    smerodatna odchylka, smer odch, stredni chyba, str chyba, stredna chyba, szoras, kozephiba, standardna devijacija,
    standardni odklon, abatere standard, abaterea standard, standart sapma, standard sapma, std sapma,
    simpangan baku, do lech chuan, τυπικη αποκλιση, стандартное отклонение, стандартне відхилення, ско, скп,
    標準偏差, 标准差, 標準差, 中误差, 中誤差, 표준편차
"""
_ANY = """
    precision, precisions, preci, prec, precisie, precisao, precisoes, precisione, precisioni, precisiones, precizie,
    precizia, precyzja, preciznost, presisi, presisjon, accuracy, accuracies, accur, acc, genauigkeit, genauigkeiten,
    genau, nauwkeurigheid, noyaktighet, nojagtighed, noggrannhet, tarkkuus, dokladnosc, presnost, tocnost, pontossag,
    hassasiyet, hassasiyeti, dogruluk, dogrulugu, ketelitian, akurasi, do chinh xac, acuratete, exactitud, exactitude,
    exatidao, error, errors, err, erreur, erreurs, erro, erros, errore, fehler, fout, feil, fejl, fel, virhe, blad,
    bledy, chyba, hiba, hata, hatasi, eroare, kesalahan, sai so, greska, napaka, ακριβεια, σφαλμα, точность, точности,
    точність, ошибка, погрешность, погрешности, похибка, 精度, 精确度, 精確度, 误差, 誤差, 정밀도, 정확도, 오차,
    דיוק, دقة, الدقة, rms, rmse, emq, eqm, ecm, desvio, desvios,
    cq, coordinate quality, coord quality, coordinates quality, koordinatenqualitat, koordinatenqualitaet,
    koordinatengute, koordinatenguete, qualite de coordonnees, qualite des coordonnees, qualite coordonnees,
    calidad de coordenadas, calidad coordenadas, qualidade das coordenadas, qualidade de coordenadas,
    qualita delle coordinate, qualita coordinate, coordinaatkwaliteit, coordinatenkwaliteit, koordinatkvalitet,
    koordinaattien laatu, jakosc wspolrzednych, kvalita souradnic, kvalita suradnic, kvaliteta koordinat,
    kvalitet koordinata, качество координат, 坐标质量, 坐標品質, 座標品質, 좌표품질
"""
_SQUARE = """
    var, variance, variances, varianz, varianzen, varianza, varianzas, varianze, variancia, variancias, variantie,
    varians, varianssi, wariancja, rozptyl, varijanca, varianta, szorasnegyzet, дисперсия, дисперсія, 分散, 方差, 분산
"""
_SIDES = {
    Side.EAST: """
        e, east, easting, eastings, est, este, leste, ost, oest, ostwert, rechtswert, rechts, oost, ostlig, ita, wsch,
        wschod, vychod, dogu, saga, timur, istok, kelet, lon, lng, long, longitude, longitud, laenge, lange, 东, 東, 동
    """,
    Side.NORTH: """
        n, north, northing, northings, nord, norte, noord, nordwert, hochwert, nordlig, pohjoinen, poln, polnoc, sever,
        kuzey, yukari, utara, eszak, lat, latitude, latitud, breite, 北, 북
    """,
    Side.UP: """
        u, up, v, ver, vert, vertical, verticale, vertikal, vertikale, verticaal, verticala, height, heights, ht, hgt,
        elev, elevation, alt, altitude, 1d, altura, altitud, alti, altimetrique, altimetrie, cota, quota, altezza, hohe,
        hohen, hoehe, hoehen, hoogte, hoyde, hojde, hoejde, hojd, korkeus, korkeuden, wys, wysokosc, wysokosci,
        wysokosciowa, pionowa, pionowy, vyska, vysky, vyskova, magassag, magassagi, yukseklik, dusey, visina, visine,
        tinggi, do cao,
        cao do, inaltime, υψομετρο, υψοσ, высота, высоты, высоте, висота, висоти, 高程, 高さ, 垂直, 鉛直, 높이, 수직
    """,
    Side.PLAN: """
        hz, hor, horz, horiz, horizontal, horizontale, horizontalna, horizontaal, horizontala, plan, plane, plani,
        planim, planimetric, planimetrique, planimetrie, planimetrica, 2d, xy, en, ne, lage, position, pos, positional,
        polohy, poloha, polohova, poziomy, pozioma, polozenia, taso, yatay, konum, mat bang, vizszintes, horisontal,
        grunnriss, ligging, 水平, 平面, 수평, 평면, план, плана, плане, в плане
    """,
    Side.X: "x",
    Side.Y: "y",
    Side.Z: "z",
    Side.H: "h",
}
#: Words that change nothing: of what it is, what it is measured with, one sigma.
_FILLERS = """
    of, de, du, des, del, der, die, den, dei, di, da, do, in, la, le, the, for, to, coord, coords, coordinate,
    coordinates, koordinate, koordinaten, souradnice, souradnic, gnss, gps, rtk, mean, estimated, measured, axis,
    direction, 1, 3d
"""
#: Mean errors by their letters, which are so where a unit of lengths stands behind them alone: "mh [mm]".
_MEAN_ERRORS = {
    "mp": Side.PLAN, "ml": Side.PLAN, "mxy": Side.PLAN, "mh": Side.UP, "mx": Side.X, "my": Side.Y, "mz": Side.Z
}  # fmt: skip
#: What stands before a word for a side likewise: "m Lage [mm]". Shorter ones may be of heights in metres: "m alt [m]".
_MEAN, _WHOLE = ("m", "mf"), 4
#: The same where that unit is too small for a coordinate: "mE" and "mN" say metres to the east and north, too.
MEAN_ERRORS_OR_METRES = {"me": Side.EAST, "mn": Side.NORTH}
DECIMETRE = 0.1
#: Of what else a precision, an error or a deviation may be: of nothing that a point has.
_OF_ELSE = re.compile(
    "tilt|neigung|heading|azimuth|time|zeit|clock|uhr|base|basis|roll|pitch|yaw|speed|velocity|age|alter|code|type|"
    "limits?|tolerances?|toleranz|max|maximum|min|status|state|ok|flag|count|number|no|nr|message|msg|text|id|class|"
    "klasse|level|stufe|residuals?|closure|misclosure|pole|antenna|distance|dist|angle|calibration|scale|ppm|quality|"
    "description|factor"
)
#: What looks like a short word with the letter of an axis, and is none.
_NO_COMPOUND = frozenset(["rmse", "erre", "esd"])
#: Short words before or behind which one letter is an axis, written together: "stdE", "hrms".
_SHORT = ("std", "stddev", "sd", "sigma", "σ", "rms", "prec", "acc", "err")
_FILL, _ELSE = "fill", "else"
_LONGEST = 3


def _split(text: str) -> list[str]:
    return [plain_letters(word.strip()).casefold() for word in text.replace("\n", " ").split(",") if word.strip()]


_CLASSES: dict[str, Side | str] = {
    **dict.fromkeys(_split(_FILLERS), _FILL),
    **{word: side for side, words in _SIDES.items() for word in _split(words)},
    **dict.fromkeys(_split(_ANY), "any"),
    **dict.fromkeys(_split(_SIGMA), "sigma"),
    **dict.fromkeys(_split(_SQUARE), "square"),
}
_PRECISE = sorted((word for word, of in _CLASSES.items() if of in ("any", "sigma") and " " not in word), key=len)


@lru_cache(maxsize=4096)
def precision_in_heading(heading: str) -> PrecisionHeading | None:
    """Return what a heading says of precisions; None where it says none, or one of something else than a point."""
    wider = bool(WIDER.search(heading))
    words = words_of(with_numbers(WIDER.sub(" ", heading) if wider else heading), figures=True)
    side = _of_mean_error(words[:-1], words[-1] if words else "")
    if side is not None:
        return PrecisionHeading(side, sigma=True)
    classes = list(_classes(words))
    if _ELSE in classes:
        return None
    kinds = {each for each in classes if each in ("any", "sigma", "square")}
    if not kinds and not (wider and re.search("[%σ]|sigma", heading) and set(classes) & set(Side)):
        return None
    sides = {each for each in classes if isinstance(each, Side)}
    side = _of_several(sides)
    if "square" in kinds and side is Side.OPEN:
        return None  # of a compass needle, or of whatever else varies
    return PrecisionHeading(side, "sigma" in kinds, wider, None not in classes and bool(kinds), "square" in kinds)


def _of_mean_error(words: list[str], unit: str) -> Side | None:
    """Return the side of a mean error that letters, or words behind one, say before a unit; None where none is said."""
    metres = LENGTHS_SAID.get(unit, ())
    small = bool(metres) and metres[0] < DECIMETRE
    letters = "".join(words)
    if letters in MEAN_ERRORS_OR_METRES or letters in _MEAN_ERRORS:
        return (MEAN_ERRORS_OR_METRES if small else {}).get(letters, _MEAN_ERRORS.get(letters) if metres else None)
    behind = words[2:] if words[:2] == ["m", "f"] else words[1:] if words[:1] in ([each] for each in _MEAN) else []
    said = {_CLASSES.get(word) for word in behind}
    sides = {each for each in said if isinstance(each, Side)}
    if not metres or not sides or not said <= {*sides, _FILL}:
        return None
    return _of_several(sides) if small or max(map(len, behind)) >= _WHOLE else None


def _of_several(sides: set[Side]) -> Side:
    """Return the side where several words say one: "E (Y)", "height H", "horizontal position"."""
    if len(sides) == 1:
        return next(iter(sides))
    left = sides - {Side.X, Side.Y, Side.Z, Side.H}
    return left.pop() if len(left) == 1 else Side.OPEN


def _classes(words: list[str]) -> Iterator[Side | str | None]:
    """Yield what each word, or the longest of several together, is; None for one that is not known."""
    at = 0
    while at < len(words):
        for count in range(min(_LONGEST, len(words) - at), 0, -1):
            if (found := _CLASSES.get(" ".join(words[at : at + count]))) is not None:
                yield found
                at += count
                break
        else:
            yield from _of_one(words[at])
            at += 1


def _of_one(word: str) -> tuple[Side | str | None, ...]:
    """Return the parts of a word that says a side and a precision in one: "stdE", "Lagegenauigkeit", "高程精度"."""
    if _OF_ELSE.fullmatch(word):
        return (_ELSE,)
    if word in LENGTHS_SAID:
        return (_FILL,)
    for precise in reversed(_PRECISE):  # the longest first
        for rest in (word.removesuffix(precise), word.removeprefix(precise)):
            if rest == word or word in _NO_COMPOUND:
                continue
            side = _CLASSES.get(rest) or _CLASSES.get(rest.removesuffix("s")) or _CLASSES.get(rest.removesuffix("n"))
            latin = rest.isascii() and len(rest) == 1
            if isinstance(side, Side) and (not latin or precise in _SHORT):
                return side, _CLASSES[precise]
    return (None,)


def side_of_word(word: str) -> Side | None:
    """Return to which direction a word points by itself, small and without accents; None for any other word."""
    side = _CLASSES.get(word)
    return side if isinstance(side, Side) else None
