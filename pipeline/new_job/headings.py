"""Common headings of the columns of exports and registers, in many languages; generic words only."""

from functools import lru_cache

from pipeline.files.heading_words import run_together, with_numbers, words_of
from pipeline.files.hemisphere_headings import side_in_heading, without_side
from pipeline.files.old_and_new import without_state
from pipeline.geodesy.units import FOOT, SURVEY_FOOT
from pipeline.new_job.headings_elsewhere import COORDINATES, ELSEWHERE
from pipeline.new_job.headings_otherwise import in_languages, uncut
from pipeline.read import correction_headings, pole_headings
from pipeline.read.correction_headings import bare as bare  # as all of this room take it from here
from pipeline.read.correction_headings import without_brackets
from pipeline.read.heading_units import metres_in_heading, without_unit
from pipeline.read.height_headings import USUAL, HeightKind
from pipeline.read.uncorrected_headings import but_for_uncorrected

#: Our words, and the headings that stand for each, the plainest first: of two columns the one that is named first wins.
#: English, German, French, Spanish, Portuguese, Italian, Dutch, Norwegian, Danish, Swedish, Finnish, Polish, Czech, ...
_CALLED = {
    "name": """
        point pointname pointid pointno pointnumber pointnr pt ptid ptno ptname name id no nr num number pname punkt
        punktnr punktnummer punktname punktid pktnr pkt nummer bezeichnung nompoint numpoint numeropoint nopoint
        ndepoint nodepoint numerodepoint numerodupoint matricule numero nom punto nombre npunto numeropunto
        numerodepunto idpunto ponto nome numeroponto nponto puntonome nomepunto punt puntnummer puntnr puntnaam naam
        navn punktnavn namn punktnamn piste pistenumero pistenro pisteid nimi numer nrpunktu numerpunktu punktnumer
        nazwa nazwapunktu bod cislobodu cislo nazevbodu nazev bodid nazovbodu tocka brojtocke punctnr punct pontszam
        nokta noktano noktaadi station stn waypoint fid 点名 点番 点番号 測点 測点名 점명 点号
        σημειο κωδικοσσημειου ονομα точка имя номер номерточки имяточки
        """,
    "mark": """
        mark markname markid controlmark controlpoint control monument benchmark bm festpunkt marke markering borne
        repere hito senal marco caposaldo merk fixpunkt fastmerke fastpunkt kiintopiste osnowa reper
        bmname bmno bmnr bmid bmnumber namabm nobm nomorbm idbm titikkontrol namatitikkontrol
        """,
    "code": """
        code featurecode pointcode feature featureclass fcode kode kod kodi kood codigo codice kodpunktu kodbodu koodi
        punktcode objektcode objektart punktart codepoint codification codificacion desc descr beschreibung
        description omschrijving descripcion descricao descrizione beskrivelse beskrivning kuvaus opis popis laji
        typ type コート
        κωδικοσ код
        """,
    "time": """
        time datetime timestamp observed observedat obstime when measured measuredat utc utctime timeutc gpstime
        localtime datetimeutc zeit datumzeit zeitpunkt zeitstempel messzeit messzeitpunkt aufnahmezeit datumuhrzeit
        uhrzeit datum heure horodatage dateheure datemesure date fecha fechahora fechayhora hora data datahora
        dataora dataeora ora orario tijd tijdstip datumtijd datumentijd tid tidspunkt datotid datoklokkeslett
        klokkeslett dato tidpunkt datumtid aika aikaleima pvmaika czas dataczas dataiczas datapomiaru datagodzina
        cas datumcas datumacas casmereni idopont zaman tarihsaat recorded recordedat created surveyed epoch
        日時 観測日時 測定日時 時刻 観測時刻 时间 日期时间 观测时间 测量时间
        采集时间 北京时间 時間 觀測時間 北京時間 시간 시각 일시 관측시간 측정시간
        χρονοσ ημερομηνια ημερομηνιαωρα ωρα время датавремя датаивремя дата
        """,
    "time_end": "timeend endtime end stop stoptime ende endzeit fin heurefin finaltime tijdeinde slut koniec konec",
    "longitude": """
        longitude lon long lng lond ddlon longdd londd laenge lange langengrad laengengrad geolaenge geogrlange
        longitud longitudine lengtegraad lengte lengde lengd laengde langd
        pikkus garums ilguma lengdegrad laengdegrad langdgrad pituusaste pituus dlugosc
        dlugoscgeograficzna dlugoscgeogr delka zemepisnadelka zemdelka hosszusag boylam longitudegrad 経度
        μηκοσ γεωγραφικομηκοσ γεωγρμηκοσ γεωγμηκοσ долгота
        """,
    "latitude": """
        latitude lat latd ddlat latdd breite breitengrad geobreite geogrbreite latitud latitudine breedtegraad
        breedte bredde bredd breidd breddegrad breddgrad breiddargrad laius platums platuma leveysaste
        leveys szerokosc szerokoscgeograficzna szerokoscgeogr sirka zemepisnasirka zemsirka
        szelesseg enlem 緯度
        πλατοσ γεωγραφικοπλατοσ γεωγρπλατοσ γεωγπλατοσ широта
        """,
    "easting": """
        easting east e westing eastingm eastcoord ecoord ostwert rechtswert rw ost rechts est coordest coordx estx este
        coordenadaeste coordeste leste oost xcoord oostcoordinaat ostkoordinat ostlig ita itakoordinaatti
        wspe wschod vychod x xcoordinate xkoord xkoordinate coordx koordx xcoordinaat coordenadax coordonneex
        coordinatax xkoordinat koordinatx wspolrzednax wspx souradnicex xkoordinaatti xgrid gridx xlocal localx
        ανατολικα восток
        """,
    "northing": """
        northing north n southing northcoord ncoord nordwert hochwert hw nord hoch coordnord coordy nordy norte
        coordenadanorte coordnorte noord ycoord noordcoordinaat nordkoordinat nordlig pohjoinen pohjoiskoordinaatti
        wspn polnoc sever y ycoordinate ykoord ykoordinate coordy koordy ycoordinaat coordenaday coordonneey
        coordinatay ykoordinat koordinaty wspolrzednay wspy souradnicey ykoordinaatti ygrid gridy ylocal localy
        βορεια север
        """,
    "sigma_east": """
        sigmaeast sigmae se sde stdeast stde stddeveast stddeve stdx sx sigmax easterror eastsd sdeast easting95
        ecartteste ete sigmaest desvest σe σx desveste sigmaeste devste mediofehlerost mfe sost
        """,
    "sigma_north": """
        sigmanorth sigman sn sdn stdnorth stdn stddevnorth stddevn stdy sy sigmay northerror northsd sdnorth
        northing95 etn σn σy sigmanord desvn desvnorte sigmanorte devstn mfn snord
        """,
    "sigma_up": """
        sigmaup sigmau su sdu sdh sdz stdup stdu stdh stdz stddevup stddevu stddevh sz sh sigmah sigmaz heighterror
        uperror sigmaheight sdup sdheight vrms vertprec verticalprecision vprec vprecision sigmav hoehengenauigkeit
        sv sdv stdv stddevv stdvertical sigmavertical sdvertical vsigma vacc vertacc verticalaccuracy verticalsigma
        σu σh σv σz
        genauigkeith genauigkeitv precisionvertical precisionv precisionverticale precisionev precisieh precisiev
        duseyhassasiyet 垂直精度
        """,
    "solution": correction_headings.CALLED["solution"],
    "base": correction_headings.CALLED["base"],
    "pdop": correction_headings.PDOP,
    "satellites": correction_headings.SATELLITES,
    "correction_age": correction_headings.AGE,
    "base_longitude": correction_headings.CALLED["base_longitude"],
    "base_latitude": correction_headings.CALLED["base_latitude"],
    "base_easting": correction_headings.CALLED["base_easting"],
    "base_northing": correction_headings.CALLED["base_northing"],
    "base_height": "baseheight baseellht baseht baseh baseellheight baseellipsoidheight refheight",
    "hu95": "hu95 horizontaluncertainty95 posuncertainty",
    "vu95": "vu95 verticaluncertainty95",
    "holds": "holds held",
    "source": "source origin quelle origine fuente fonte bron kilde kalla lahde zrodlo zdroj",
    "dated": """
        dated datum date stand fecha data dato datedetermination revised revision updated
        year jahr annee ano anno ar aar jaar rok vuosi
        validfrom validsince effectivefrom gueltigab gultigab gueltigvon gultigvon gueltigseit gultigseit valabledepuis
        valideapartirde validodesde validoapartirde validodal geldigvanaf gyldigfra gaeldendefra giltigfran gallerfran
        voimassaalkaen waznyod obowiazujeod platnyod platnostod ervenyes ervenyesmegkezdese vrijediod vaziod veljaod
        valabildela gecerlilikbaslangici действуетс дійснийвід валидноод
        """,
    "start": "start begin from beginn debut inicio inizio aanvang",
    "end": "end to until ende fin fine einde",
    "x": "x ecefx xecef geocentricx xgeo",
    "y": "y ecefy yecef geocentricy ygeo",
    "z": "z ecefz zecef geocentricz zgeo",
    "radial": "hrms drms horizontalrms rmsh rmshz",
    "precision": """
        horizontalprecision hprec hprecision horzprec hzprec hacc accuracy precision prec lagegenauigkeit
        genauigkeit precisionhorizontale precisionh precisieplan hsigma sigmaplan rms 2dprecision horprecision
        horizontalaccuracy yatayhassasiyet cq2d coordquality2d coordinatequality2d koordinatenqualitat2d 水平精度
        """,
    "date": """
        date datum fecha data dato datumdatum jour dag paiva pvm tag utcdate dateutc obsdate gpsdate dzien den
        datamesure day surveydate
        """,
    "clock": """
        time hour uhrzeit zeit heure hora ora tijd tid klokkeslett kello klo czas godzina cas utctime localtime
        gpstime klockslag timeutc kl klokka klokke klokkeslaet klokken kellonaika timi hodina hodiny orario
        """,
    "each": """
        sh sigmah sigmahorizontal stdh sdh stddevh σh stdhorizontal sdhorizontal horizontalsigma sigmahz
        sigmaplan shz sdhz sxy sen sp genauigkeith precisieh
        """,
    "pole": pole_headings.CALLED,
    "week": "gpsweek week wn gpswoche semainegps semanagps",
    "seconds": "gpsseconds tow seconds secondsofweek sow gpstow gpssow secofweek gpssec",
}


CALLED: dict[str, tuple[str, ...]] = {
    word: tuple(dict.fromkeys(map(run_together, f"{text} {ELSEWHERE.get(word, '')}".split())))
    for word, text in _CALLED.items()
}
_OF_HEIGHTS = {
    "ellipsoid_height": HeightKind.ELLIPSOIDAL, "level": HeightKind.LEVEL, "height": HeightKind.HEIGHT,
}  # fmt: skip
CALLED |= {word: tuple(dict.fromkeys(map(bare, USUAL[kind]))) for word, kind in _OF_HEIGHTS.items()}


#: Words beside the letter of an axis that do not say to which side it points.
_COORDINATE = (
    "", "coord", "coordinate", "koord", "koordinate", "koordinat", "koordinaatti", "coordinaat", "coordenada",
    "coordonnee", "coordinata", "wspolrzedna", "wsp", "souradnice", "grid", "local", *map(run_together, COORDINATES),
)  # fmt: skip
#: By how much headings that say a state besides come behind those that say none.
_BEHIND = 1_000
#: Headings that tell an axis by its letter alone: X is the easting for some, the northing for others.
_LETTERED = {
    letter: frozenset(each for word in _COORDINATE for each in (f"{letter}{word}", f"{word}{letter}"))
    for letter in "xy"
}
for _word, _letter in (("easting", "x"), ("northing", "y")):
    CALLED[_word] = tuple(dict.fromkeys((*CALLED[_word], *sorted(_LETTERED[_letter]))))
_SIDES = ("easting", "northing", "longitude", "latitude")
#: Names of grids that stand beside an axis in a heading, as "ITM E" and "EOV Y"; figures of zones may stand there too.
_GRID_NAMES = """
    itm utm eov mga agd amg osgb bng rd lv sweref euref etrs nztm nzmg gda nzgd magna sirgas posgar jtsk sjtsk krovak gk
    gausskruger gausskrueger htrs lks lest lambert stereo isn nad spcs stateplane mgi dhdn pulkovo sk msk rgf ntf ntm
    kkj crtm tm cgcs wgs hk svy rso cassini ggrs egsa tmfin etrstm
"""
_GRIDS = frozenset(_GRID_NAMES.split())


def letter_of(heading: str) -> str:
    """Return "x" or "y" where a heading tells its axis by that letter alone, else ""."""
    heading = state_of_place(heading) or heading
    if axis_of(heading) is not None:
        return ""
    said = _of_grid(heading) or bare(heading)
    return next((letter for letter, headings in _LETTERED.items() if said in headings), "")


def _of_grid(heading: str) -> str:
    """Return what a heading says beside the name of a grid: "e" of "ITM E", "y" of "EOV Y"; "" without such a name."""
    words = words_of(without_unit(without_brackets(heading)), capitals=False)
    rest = [word for word in words if word not in _GRIDS]
    return "".join(rest) if len(rest) == 1 < len(words) else ""


@lru_cache(maxsize=4096)
def axis_of(heading: str) -> tuple[str, str] | None:
    """Return what a heading says its letter is: "X (North)" gives "northing" and "x"; None for another heading.

    "X (Lat)" likewise gives "latitude" and "x".
    """
    parts = words_compared(heading)
    lettered = {letter for letter in "xy" if letter in parts}
    if len(lettered) != 1:
        return None
    said = {word for word in _SIDES for part in parts if part in CALLED[word] and not _is_lettered(part)}
    return (said.pop(), lettered.pop()) if len(said) == 1 else None


def _is_lettered(bared: str) -> bool:
    return any(bared in headings for headings in _LETTERED.values())


def feet_of(heading: str) -> str:
    """Return the foot that a heading says, as ``units`` has it: "us-survey-foot", else "foot"; "" for none."""
    metres = metres_in_heading(heading)
    return "foot" if FOOT in metres else "us-survey-foot" if SURVEY_FOOT in metres else ""


def says_height(heading: str) -> bool:
    """Tell whether a heading says heights, of whatever kind."""
    return any(rank(word, heading) is not None for word in _OF_HEIGHTS)


@lru_cache(maxsize=16384)
def rank(word: str, heading: str) -> int | None:
    """Return how plainly a heading says one of our words, 0 the plainest; None where it does not.

    One that is cut, or in two languages, says what all of its known parts do.
    """
    ranks = [_rank(word, each) for each in said_as(heading)]
    behind = _BEHIND if state_of_place(heading) else 0
    return None if None in ranks else max((behind + each for each in ranks if each is not None), default=None)


@lru_cache(maxsize=4096)
def said_as(heading: str) -> tuple[str, ...]:
    """Return what a heading says as known ones do: itself, what it is cut from, or its parts in several languages."""
    if _is_known(heading):
        return (heading,)
    if (corrected := but_for_uncorrected(heading)) and _is_known(corrected):
        return (corrected,)
    if place := state_of_place(heading):
        return (place,)
    whole = uncut(heading, _MEANINGS)
    return (whole,) if whole else in_languages(heading, _is_known) or (heading,)


def _rank(word: str, heading: str) -> int | None:
    if (axis := axis_of(heading)) is not None:
        return 0 if word == axis[0] else None
    called, bared = CALLED[word], bare(heading)
    if bared not in called and word in ("longitude", "latitude") and side_in_heading(heading, word) is not None:
        bared = bare(without_side(heading, word))  # "Lon W": what its numbers are is told besides
    if bared not in called and word in ("easting", "northing") and (said := _of_grid(heading)) in called:
        return len(called) + called.index(said)
    return called.index(bared) if bared in called else None


@lru_cache(maxsize=4096)
def state_of_place(heading: str) -> str:
    """Return a heading of coordinates or heights without the state that it says: "Höhe neu"; "" for any other."""
    if _is_known(heading) or not (rest := without_state(heading)):
        return ""
    return rest if any(_rank(word, rest) is not None for word in (*_SIDES, *_OF_HEIGHTS)) else ""


def words_compared(heading: str) -> list[str]:
    """Return the words of a heading, those in brackets too, as `rank` compares them."""
    return words_of(with_numbers(heading), figures=True, capitals=False)


@lru_cache(maxsize=4096)
def is_known(heading: str) -> bool:
    """Tell whether a heading is the usual one of anything."""
    said = said_as(heading)
    return _is_known(said[0]) and any(all(_rank(word, each) is not None for each in said) for word in CALLED)


def _is_known(heading: str) -> bool:
    return bare(heading) in _EVERY or axis_of(heading) is not None or _of_grid(heading) in _PLAN


_PLAN = frozenset((*CALLED["easting"], *CALLED["northing"]))
_EVERY = frozenset(heading for headings in CALLED.values() for heading in headings)
_MEANINGS = {bare(heading): frozenset([kind.name]) for kind, headings in USUAL.items() for heading in headings} | {
    heading: frozenset(word for word, headings in CALLED.items() if heading in headings) for heading in sorted(_EVERY)
}
