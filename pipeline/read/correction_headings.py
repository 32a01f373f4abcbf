"""Headings of columns that say where a reading's corrections came from and what they made of it, in many languages.

The one vocabulary for it: a job file that is drafted takes its columns by it, and a run tells columns by it that were
left unmapped. Those of `ELSEWHERE` are from memory, as a dictionary has them.
"""

import re
from functools import lru_cache

from pipeline.files.heading_words import run_together, with_numbers
from pipeline.read.heading_units import without_unit

#: What stands in brackets behind a heading, and units of angles behind a blank or a line below.
_UNIT = re.compile(r"[\s_]*[(\[][^()\[\]]*[)\]]\s*$|[\s_]deg$", re.IGNORECASE)

#: Cyrillic letters that stand alone as a heading and print like Latin ones, which they mean: X, Y and H.
_LOOK_ALIKE = {"х": "x", "у": "y", "н": "h"}

#: Our words and the headings that stand for each, the plainest first: as `bare` has them.
CALLED = {
    "solution": """
        solution sol solutiontype solutionstatus solstatus fix fixtype fixstatus fixquality fixmode gnssfix
        rtkstatus rtkfix gpsstatus status quality qual positiontype postype positionmode losung loesung losungstyp
        loesungstyp losungsart qualitat statut etat etatsolution typesolution solucion tiposolucion estado calidad
        solucao tiposolucao qualidade soluzione tiposoluzione stato qualita oplossing oplossingstype kwaliteit
        losning losningstype losningstyp kvalitet ratkaisu ratkaisutyyppi laatu rozwiazanie typrozwiazania jakosc
        reseni typreseni kvalita mode fixed isfixed gnssstatus gnsssolution gnssquality gnssmode gnssfixtype gpsfix
        gpsquality gpsmode rtksolution rtkquality rtkmode posquality posstatus positionquality positionstatus
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
    """,
    "base": """
        referans referansistasyonu sabitistasyon stasiunbase stasiunreferensi trạmgốc trạmcơsở 基站 基准站 参考站 基準站
        參考站 基準局 基地局 기준국 기지국 المحطةالقاعدة القاعدة محطةالرصد תחנתבסיס בסיס bázis bázisállomás bază
        stațiebază stațiabază baznastanica referentnastanica σταθμόςβάσης βάση база базоваястанция базовастанція
    """,
}


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

    A unit behind it is no part of it.
    """
    return next((word for word, headings in _HEADINGS.items() if bare(heading) in headings), "")


_HEADINGS = {
    word: frozenset(map(run_together, f"{text} {ELSEWHERE.get(word, '')}".split())) for word, text in CALLED.items()
}
