"""Headings of columns that say where a reading's corrections came from and what they made of it, in many languages.

The one vocabulary for it: a job file that is drafted takes its columns by it, and a run tells columns by it that were
left unmapped. Those of `ELSEWHERE` are from memory, as a dictionary has them.
"""

import re
from functools import lru_cache

from pipeline.files.heading_words import run_together, with_numbers, words_of
from pipeline.read.heading_units import unit_in_heading, without_unit

#: What stands in brackets behind a heading, and units of angles behind a blank or a line below.
_UNIT = re.compile(r"[\s_]*[(\[][^()\[\]]*[)\]]\s*$|[\s_]deg$", re.IGNORECASE)

#: Cyrillic letters that stand alone as a heading and print like Latin ones, which they mean: X, Y and H.
_LOOK_ALIKE = {"х": "x", "у": "y", "н": "h", "χ": "x", "υ": "y", "η": "h", "ζ": "z"}

#: Our words and the headings that stand for each, the plainest first: as `bare` has them.
CALLED = {
    "solution": """
        solution sol soln solntype solnstatus solutiontype solutionstatus solstatus fix fixtype fixstatus fixquality
        fixmode gnssfix rtkstatus rtkfix gpsstatus status quality qual positiontype postype positionmode losung
        loesung losungstyp loesungstyp losungsart qualitat statut etat etatsolution typesolution solucion tiposolucion
        estado calidad solucao tiposolucao qualidade soluzione tiposoluzione stato qualita oplossing oplossingstype
        lahend kwaliteit losning losningstype losningstyp kvalitet ratkaisu ratkaisutyyppi laatu rozwiazanie
        typrozwiazania
        jakosc reseni typreseni kvalita mode fixed isfixed gnssstatus gnsssolution gnssquality gnssmode gnssfixtype
        gpsfix gpsquality gpsmode rtksolution rtkquality rtkmode posquality posstatus positionquality positionstatus
        solutionquality solutionmode qualityindicator qualitycode qualityflag ambiguity ambiguities ambiguitystatus
        ambiguityresolution qualite typedesolution typesolutiongnss qualitesolution modesolution etatgnss statutgnss
        tipodesolucion calidadsolucion estadosolucion estadogps estadognss modo tipodesolucao estadosolucao
        tipodisoluzione statosoluzione qualitasoluzione statognss loesungsqualitat losungsqualitat loesungsstatus
        losungsstatus gnssqualitat positionsqualitat positionsstatus ambiguitaten mehrdeutigkeiten oplossingsstatus
        losningskvalitet losningsstatus ratkaisunlaatu ratkaisuntyyppi statusrozwiazania typpomiaru stavreseni
        kvalitareseni q cozum cozumtipi cozumturu
        """,
    "base": """
        base baseid basestation basename basestationid baseno reference referenceid referencestation refstation ref
        refid referenz referenzstation basis basisstation station_ref stationbase idbase baseestacion estacionbase
        basereferencia estacaobase stazionebase idbasestazione riferimento basisid referentie referentiestation
        basestasjon referansestasjon referensstation basstation bas tukiasema baza stacjabazowa stacjareferencyjna
        bazowa baze zakladna zakladnovastanice referencnistanice estacion
        referens pivot stationpivot stationdebase stationdereference stationreference estacionbase estaciondebase
        estaciondereferencia estacionreferencia estacaodereferencia estacaoreferencia estacaodebase stazionedibase
        stazionediriferimento stazioneriferimento referencnastanica zakladnastanica bazovastanica referenssiasema
        vertailuasema basisstasjon
        """,
    "base_longitude": "baselongitude baselon baselong reflon reflongitude referencelongitude",
    "base_latitude": "baselatitude baselat reflat reflatitude referencelatitude",
    "base_easting": "baseeasting baseeast basee refeasting",
    "base_northing": "basenorthing basenorth basen refnorthing",
}
#: Likewise, in languages whose surveyors looked over none of it.
ELSEWHERE = {
    "solution": """
        وضعیت სტატუსი ამონახსნი समाधान สถานะ suluhisho
        çözümdurumu solusi statussolusi jenissolusi trạngthái lờigiải kiểulờigiải 解 解状态 解类型 解狀態 解類型 解种类
        解種別 解の種類 해 해상태 해종류 الحل نوعالحل حالةالحل פתרון סוגפתרון megoldás megoldástípus soluție tipsoluție
        rješenje rešenje vrstarješenja λύση решение типрешения статусрешения рішення типрішення
        tila ratkaisuntila lahendus lahenduseliik lahendusetyyp risinajums risinajumaveids risinajumatips sprendimas
        sprendimotipas sprendinys sprendiniotipas lausn gerdlausnar видрешение видрешения решење tiposoluz
        状态 状態 品质 品質 质量 質量 定位状态 定位狀態 定位类型 定位類型 定位质量 解算状态 解算类型 测量状态 固定状态
        fix状态
        測位状態 測位モード 測位種別 測位方法 fix状態 fix種別 固定状態 상태 품질 측위상태 측위모드 고정상태 솔루션
        fix상태
        rešitev tiprešitve vrstarešitve statusrešitve stanjerešitve kakovostrešitve tiprješenja tiprešenja
        statusrješenja statusrešenja kvalitetrješenja kvalitetrešenja riešenie typriešenia stavriešenia kvalitariešenia
        megoldástípusa megoldásjellege megoldásállapota megoldásmódja fiks fikset fikstype fiksstatus løsningstatus
        fixstatus fixtyp fixart fixlösung fixlosung soluția tipulsoluției stareasoluției stareasoluţiei
        calitateasoluției
        çözümkalitesi sabitmi lahendustüüp lahenduseolek risinājumastatuss risinājumakvalitāte sprendimobūsena
        tegundlausnar gæðilausnar jakośćrozwiązania rodzajrozwiązania stanrozwiązania typřešení zgjidhja llojizgjidhjes
        τύποςλύσης είδοςλύσης ποιότηταλύσης κατάστασηλύσης качестворешения режимрешения типрозвязку статусрозвязку
        якістьрозвязку розвязок типрешење квалитетрешења типрешења статусрешења loạinghiệm trạngtháigiải
        trạngtháilờigiải kualitassolusi tipesolusi jenispenyelesaian جودةالحل الحالة نوعحل کیفیتحل وضعیتحل
        סטטוספתרון איכותפתרון מצבפתרון สถานะผลเฉลย ชนิดผลเฉลย समाधानप्रकार
        статус качество якість ποιότητα κατάσταση durum kalite minőség állapot kvaliteta kakovost calitate stare
    """,
    "base": """
        referans referansistasyonu sabitistasyon stasiunbase stasiunreferensi trạmgốc trạmcơsở 基站 基准站 参考站 基準站
        參考站 基準局 基地局 기준국 기지국 المحطةالقاعدة القاعدة محطةالرصد תחנתבסיס בסיס bázis bázisállomás bază
        stațiebază stațiabază stațiadebază stațiedebază stațiadereferință stațiedereferință stațiareferință referință
        referenciaállomás referenčnastanica referenčnapostaja baznapostaja tugijaam baasjaam bāzesstacija
        atskaitesstacija bazinėstotis referencinėstotis viðmiðunarstöð опорнаястанция референтнастанция опорнастанція
        baznastanica referentnastanica σταθμόςβάσης βάση база базоваястанция базовастанція
    """,
}

#: Headings of the age of a reading's corrections, likewise, and units that they may say.
AGE = """
    correctionage ageofcorrection ageofcorrections corrage agecorr age diffage dgpsage differentialage rtcmage
    korrekturalter alter agecorrection edadcorreccion idadecorrecao etacorrezione ouderdomcorrectie
    korreksjonsalder wiekpoprawki starikorekci agediff ageofdiff ageofdifferential correctionsage ageofcorr rtkage
"""
#: Headings of how many satellites a reading is of, and of how well they stood, likewise.
SATELLITES = """
    satellites sats sat nsats nsat numsats numsat svs sv nsv satused satellitesused satelliten anzahlsatelliten
    anzsat nbsat nbsatellites satelites nsatelites numsatelites satelliti nsatelliti satellieten
    aantalsatellieten satellitter antallsatellitter satelliter antalsatelliter satelliitit satelity
    liczbasatelitow pocetdruzic druzice pocetsatelitu
"""
PDOP = "pdop dop"
_SECONDS = re.compile(r"s|se[ckg]\w*")

#: Headings of which rover, or which receiver on it, a reading is of, likewise.
ROVER = """
    rover roverid rovername roverno rovernr rovernumber roverserial roverserialno roverserialnumber roversn receiver
    receiverid receivername receiverno receivernr receivernumber receiverserial receiverserialno receiverserialnumber
    receiversn rxserial rxsn gnssreceiver gpsreceiver instrument instrumentid instrumentname instrumentno instrumentnr
    instrumentnumber instrumentserial instrumentserialno instrumentserialnumber instrumentsn serial serialno serialnr
    serialnumber device deviceid devicename deviceserial deviceserialnumber empfanger empfaenger empfangernr
    empfaengernr empfangerid empfaengerid gerat geraet geratenr geraetenr geratenummer geraetenummer gerateid
    instrumentennummer seriennr seriennummer recepteur norecepteur numerorecepteur appareil noappareil numeroappareil
    noserie noserierecepteur nodeserie numeroserie numerodeserie receptor instrumento nserie ricevitore strumento
    matricola numeroseriale numerodiserie seriale ontvanger toestel instrumentnummer serienummer mottaker mottakernr
    mottagare modtager serienr vastaanotin laite sarjanumero odbiornik nrodbiornika instrumentnr nrinstrumentu
    nrseryjny numerseryjny prijimac pristroj cislopristroje seriovecislo vyrobnicislo controller controllerid
    controllername controllerno controllernr controllernumber controllerserial controllerserialnumber controllersn
"""
#: Words of who measured, anywhere in a heading: people may change rovers, and two of them have two.
CREW = "crew team party operator surveyor observer user equipe trupp"


@lru_cache(maxsize=4096)
def bare(heading: str) -> str:
    """Return a heading as it is compared: small letters and figures alone, no accents, no unit behind it."""
    heading = with_numbers(heading)
    bared = run_together(without_unit(without_brackets(heading)) or heading)
    return _LOOK_ALIKE.get(bared, bared)


def without_brackets(heading: str) -> str:
    """Return a heading without what stands in brackets behind it."""
    return _UNIT.sub("", heading.strip())


@lru_cache(maxsize=1024)
def correction_heading(heading: str) -> str:
    """Return which of our words a heading says: "solution", "base", or a part of the base's position in plan; "" none.

    A unit behind it is no part of it. A base in several words need not be a usual heading: "Korr. Station", "Lat of
    base".
    """
    return next((word for word, headings in _HEADINGS.items() if bare(heading) in headings), _of_a_base(heading))


@lru_cache(maxsize=1024)
def says_rover(heading: str) -> bool:
    """Tell whether a heading says that its column is of rovers or receivers: their names, numbers or serials."""
    return bare(heading) in _ROVERS


@lru_cache(maxsize=1024)
def says_crew(heading: str) -> bool:
    """Tell whether a heading says that its column is of those who measured."""
    return not _CREW.isdisjoint(words_of(heading))


@lru_cache(maxsize=1024)
def says_base_antenna(heading: str) -> bool:
    """Tell whether a heading says that its column is of the heights of the base's antenna."""
    words = set(words_of(heading)) - _BETWEEN
    of_base = bool(words & (_OF_BASE[0] | _OF_BASE[1]))
    if not of_base and len(words) == 1:
        return words <= _BASE_ANTENNAS
    rest = words - _OF_BASE[0] - _OF_BASE[1] - _OF_BASE[3]
    return of_base and bool(rest & _ANTENNA) and rest <= _ANTENNA | _HEIGHT


@lru_cache(maxsize=1024)
def says_correction_age(heading: str) -> bool:
    """Tell whether a heading may say that it is of ages of corrections, in seconds: with no unit, or with that one."""
    unit = unit_in_heading(heading)
    return bare(heading) in AGE.split() and (unit is None or _SECONDS.fullmatch(unit) is not None)


@lru_cache(maxsize=1024)
def satellite_heading(heading: str) -> str:
    """Return which of "satellites" and "pdop" a heading says; "" for none."""
    called = bare(heading)
    return "satellites" if called in _SATELLITES else "pdop" if called in _PDOP else ""


def says_plainly_age(heading: str) -> bool:
    """Tell whether a heading of ages can hardly be of anything else, as "Age" can, of trees."""
    return bare(heading) not in _OF_ANYTHING


@lru_cache(maxsize=1024)
def says_other_place(heading: str) -> bool:
    """Tell whether a heading says that its column is a place in the work or on the ground, where no base stands."""
    return not _OTHER_PLACES.isdisjoint(words_of(heading))


def says_base_id(heading: str) -> bool:
    """Tell whether a heading of base ids can hardly be of anything else, as "Ref" can."""
    return bare(heading) not in _AMBIGUOUS


def _of_a_base(heading: str) -> str:
    """Return what the words of a heading say together of a base: its id or a part of its position; "" if nothing."""
    words = set(words_of(heading)) - _BETWEEN
    base, reference, corrections, station = (bool(words & each) for each in _OF_BASE)
    axes, rest = words & _AXES.keys(), words - frozenset().union(*_OF_BASE)
    if len(axes) == 1 and rest == axes:
        return _AXES[axes.pop()] if base or reference or station else ""
    plainly = (base and len(words) > 1) or ((reference or corrections) and station)
    return "base" if plainly and rest <= _ID else ""


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


#: Words of many languages by which a heading says that it is of the base: as such, as what is referred to, as what the
#: corrections come from, and as a station, which others are too.
_OF_BASE = (
    _words(
        """
        base basis basisstation basestation baza bazy bazowa bazowej bas basstation basestasjon basisstasjon tukiasema
        referenzstation referencestation refstation referansestasjon referensstation referentiestation
        """
    ),
    _words(
        """
        ref reference referenz referencia referentie riferimento referencyjna referencyjnej referencni referans referens
        """
    ),
    _words(
        """
        corr correction corrections correctie korr korrektur correccion correcciones correcao correcoes correzione
        correzioni
        """
    ),
    _words("station stn estacion estacao stazione stacja stacji stanice stasjon asema"),
)
#: The words by which it says which part of the position.
_AXES = {
    each: word
    for word, called in {
        "base_longitude": """
            lon long lng longitude lange laenge longitud longitudine lengte lengtegraad lengde lengdegrad langd
            dlugosc delka pituus
            """,
        "base_latitude": """
            lat latitude breite latitud latitudine breedte breedtegraad bredde breddegrad bredd szerokosc sirka leveys
            """,
        "base_easting": "x east easting est este leste ost oost ostwert rechtswert",
        "base_northing": "y north northing nord norte noord nordwert hochwert",
    }.items()
    for each in called.split()
}
#: Words of its id, and words that say nothing of what a column has.
_ID = _words("id no nr num number nummer name nom nombre nome naam navn namn nazwa nazev numero kennung")
#: Words of its antenna, which alone or with those of a height are of the height of that.
_ANTENNA = _words(
    """
    ant antenna antennen antenne antena antenni antennenhohe antennenhoehe antennehoogte antennehoyde antennhojd
    antenneheight antennaheight antht antheight hi ih instrumentenhohe
    """
)
_HEIGHT = _words(
    "height ht hgt h hoehe hohe hauteur altura altezza alt hoogte hoyde hojd korkeus wysokosc vyska m ft ftus usft"
)
_BASE_ANTENNAS = _words(
    "baseant baseantenna baseantht baseantheight baseantennaheight basehi refantht refantennaheight"
)
_BETWEEN = _words("of the de der des della di du do da del la le van deg dd pos position coordinate gnss gps rtk")
#: Words of places that several readings may have in common, a base's not among them: lines and plots and their ends,
#: what is set out, drawings, control.
_OTHER_PLACES = _words(
    """
    line start end begin from to first last previous next parcel plot lot field block area site project design target
    stake staked plan planned layout axis alignment section sheet tile cell centre center centroid origin corner mark
    stakeout phone device tablet approx approximate rough
    control known check near nearest closest house building structure tree pole well manhole
    linie anfang ende beginn von nach parzelle flurstuck feld flache projekt entwurf soll ziel achse blatt mitte ecke
    festpunkt bekannt nachster haus gebaude baum mast schacht
    ligne debut fin parcelle lot champ zone projet cible axe feuille milieu coin borne repere connu proche batiment
    arbre
    linea inicio fin parcela campo zona proyecto diseno objetivo eje hoja centro esquina hito conocido cercano edificio
    inizio fine particella progetto disegno asse foglio angolo noto vicino
    linha fim projeto eixo folha canto marco conhecido proximo
    lijn eind perceel veld vlak ontwerp doel blad midden hoek bekend gebouw boom
    linje slutt slut teig mal akse ark senter hjorne fastmerke
    linia poczatek koniec dzialka pole projekt cel os arkusz srodek rog znany
    linie zacatek konec parcela projekt osa list stred roh
    """
)
#: Headings of ages, and of base ids, that stand over other things too.
_OF_ANYTHING = _words("age alter")
_AMBIGUOUS = _words(
    "ref refid reference referenceid referenz referentie riferimento basis bas estacion referans referens pivot"
    " referinta"
)


_SATELLITES, _PDOP = frozenset(SATELLITES.split()), frozenset(PDOP.split())
_ROVERS, _CREW = frozenset(ROVER.split()), frozenset(CREW.split())
_HEADINGS = {
    word: frozenset(map(run_together, f"{text} {ELSEWHERE.get(word, '')}".split())) for word, text in CALLED.items()
}
