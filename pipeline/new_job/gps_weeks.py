"""Finds GPS weeks with the seconds of the week, by headings in many languages and by what the columns hold.

The words are from memory, as a dictionary has them. Columns are taken by them only where their numbers fit together.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from itertools import product

import numpy as np

from pipeline.arrays import Floats
from pipeline.files.heading_words import run_together
from pipeline.new_job.headings import bare, is_known
from pipeline.new_job.values import MOSTLY, numbers_of

#: Headings, bare, without the name of the system of satellites.
_WEEKS = """
    week weeks wn weekno weeknr weeknumber woche wochen wochennr wochennummer semaine semaines numerosemaine nosemaine
    numerodesemaine semana semanas numerosemana numerodesemana nsemana settimana settimane numerosettimana nsettimana
    weeknummer uke ukenr ukenummer uge ugenr ugenummer vecka veckonr veckonummer viikko viikkonumero viikkonro tydzien
    nrtygodnia numertygodnia tyden cislotydne tyzden cislotyzdna het hetszama hetsorszama saptamana saptamani
    numarsaptamana tjedan brojtjedna sedmica nedelja nedjelja teden stevilkatedna nadal nadalanumber nedela savaite
    vika hafta haftano haftanumarasi minggu mingguke tuan astea setmana wythnos seachtain java wiki
    неделя номернедели седмица номернаседмица недеља тиждень номертижня тыдзень апта жума εβδομαδα αριθμοσεβδομαδασ
    周 周数 周号 星期 週 週数 週數 週番号 週号 주 주차 주번호 주수
    أسبوع الأسبوع رقمالأسبوع שבוע מספרשבוע هفته सप्ताह สัปดาห์
"""
_SECONDS = """
    seconds second secs sec s tow sow secondsofweek secondofweek secondsoftheweek secofweek secsofweek secondsinweek
    weekseconds timeofweek time sekunden sekunde sek wochensekunden wochensekunde sekundenderwoche sekundederwoche
    wochenzeit zeit secondes seconde secondesdelasemaine secondedelasemaine secondesdesemaine secondesemaine
    secondessemaine temps segundos segundo seg segundosdelasemana segundodelasemana segundosdesemana segundodesemana
    segundosemana segundossemana segundosdasemana segundodasemana tiempo tempo secondi secondo secondidellasettimana
    secondodellasettimana secondisettimana seconden weekseconden secondenvandeweek tijd sekunder sekund ukesekunder
    sekunderiuken sekunderavuken ugesekunder sekunderiugen veckosekunder sekunderiveckan sekunderavveckan tid sekunnit
    sekunti viikonsekunnit viikkosekunnit aika sekundy sekunda sekundytygodnia sekundatygodnia czas sekundytydne
    sekundatydne cas masodperc mp hetmasodperce hetmasodpercei ahetmasodperce secunde secundadinsaptamana
    secundedinsaptamana secundesaptamana sekundi sekunde sekundetjedna sekundautjednu sekundeutjednu sekundesedmice
    sekundenedelje sekundetedna vrijeme vreme sekundid nadalasekundid sekundes sekunzu laiks laikas saniye
    haftaninsaniyesi haftasaniyesi haftasaniye zaman detik detikminggu detikdalamminggu giay giaytrongtuan segundoak
    segons
    секунды секунда сек секунданедели секундынедели секундывнеделе времянедели время секунди секундаотседмицата
    секундиотседмицата секундатижня секундитижня секунденедеље време δευτερολεπτα δευτερολεπταεβδομαδασ χρονοσ
    秒 周内秒 周秒 周内秒数 周內秒 週内秒 週內秒 週秒 초 주초 주중초 주간초 주내초
    ثانية ثواني الثواني שניות שניה ثانیه सेकंड วินาที
"""
_NAMES = {
    "week": frozenset(run_together(word) for word in _WEEKS.split()),
    "seconds": frozenset(run_together(word) for word in _SECONDS.split()),
}
_SYSTEM = re.compile("gps|gnss")
#: Seconds of a week and of a year; those of 1980-01-06, and the week in which 2000 began.
_WEEK, _A_YEAR, _BEGAN, _FIRST = 604_800.0, 366 * 86_400.0, 315_964_800.0, 1042
#: Readings that show how their times go on, and the share of them that are not before the one above.
_SOME, _IN_ORDER = 3, 0.9
#: Numbers of calendar years, which are no weeks if no heading says it.
_YEARS = range(1980, 2051)


def named_weeks(columns: Mapping[str, Sequence[str]], names: Sequence[str]) -> tuple[str, str] | None:
    """Return the columns of GPS weeks and of seconds by their headings, if their numbers are such; None without two.

    Two headings that both name the system of satellites are enough where their words are not known.
    """
    weeks, seconds = ([name for name in names if _says(name, word)] for word in ("week", "seconds"))
    unknown = [name for name in names if _SYSTEM.search(bare(name)) and not is_known(name)]
    pairs = [*product(weeks, seconds), *product(weeks, unknown), *product(unknown, seconds), *product(unknown, unknown)]
    return next((pair for pair in pairs if pair[0] != pair[1] and _are_weeks(columns, *pair)), None)


def like_weeks(columns: Mapping[str, Sequence[str]], names: Sequence[str]) -> tuple[str, str] | None:
    """Return the only two columns whose numbers are like GPS weeks and seconds, whatever they are called."""
    free = [name for name in names if not is_known(name) and (numbers_of(columns[name]) is not None)]
    found = [
        (week, seconds)
        for week in free if _is_one_stretch(columns[week])
        for seconds in free if seconds != week and _are_weeks(columns, week, seconds) and _go_on(columns, week, seconds)
    ]  # fmt: skip
    return found[0] if len(found) == 1 else None


def week_alone(columns: Mapping[str, Sequence[str]], names: Sequence[str]) -> str | None:
    """Return the column of GPS weeks by its heading and numbers, None where there is none."""
    zeros = {name: ["0"] * len(columns[name]) for name in names if _says(name, "week")}
    return next((name for name, within in zeros.items() if _are_weeks({**columns, "": within}, name, "")), None)


def _says(heading: str, word: str) -> bool:
    said = _SYSTEM.sub("", bare(heading)) or bare(heading)
    return said in _NAMES[word]


def _are_weeks(columns: Mapping[str, Sequence[str]], week: str, seconds: str) -> bool:
    """Tell whether numbers may be weeks since 1980 and seconds of them, of one stretch of time since 2000."""
    weeks, within = numbers_of(columns[week]), numbers_of(columns[seconds])
    if weeks is None or within is None:
        return False
    known = np.isfinite(weeks + within)
    if known.mean() < MOSTLY or not known.any():
        return False
    weeks, within = weeks[known], within[known]
    last = (datetime.now(UTC).timestamp() - _BEGAN) // _WEEK + 1.0
    fits = (weeks == np.floor(weeks)) & (weeks >= _FIRST) & (weeks <= last) & (within >= 0.0) & (within < _WEEK)
    return bool(fits.all()) and float(np.ptp(weeks * _WEEK + within)) <= _A_YEAR


def _is_one_stretch(texts: Sequence[str]) -> bool:
    values = numbers_of(texts)
    return values is not None and 0 < len(some := np.unique(values[np.isfinite(values)])) <= 2 and some[0] not in _YEARS


def _go_on(columns: Mapping[str, Sequence[str]], week: str, seconds: str) -> bool:
    """Tell whether numbers are times that go on from row to row, and no numbers of points."""
    times = _times(columns, week, seconds)
    steps = np.diff(times[np.isfinite(times)])
    if len(steps) < _SOME:
        return False
    return float((steps >= 0.0).mean()) >= _IN_ORDER and len(np.unique(steps)) > 1 and float(np.median(steps)) > 1.0


def _times(columns: Mapping[str, Sequence[str]], week: str, seconds: str) -> Floats:
    weeks, within = numbers_of(columns[week]), numbers_of(columns[seconds])
    assert weeks is not None and within is not None
    times: Floats = weeks * _WEEK + within
    return times
