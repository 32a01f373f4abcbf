"""Words in a column by which it says how each reading came about, whatever its heading, in many languages, from memory.

One says from where its corrections were: this base, a network, or none until afterwards. Another says by which
instrument it was measured, or that nobody measured it. A heading for it may be anything ("Link", "Survey type"), and
so the values are judged: all words of a column of corrections are of these, since a drawing's "local road" is none.
"""

from functools import lru_cache

from pipeline.files.heading_words import words_of
from pipeline.letter_case import folded

COMPUTED, NETWORK, ONE_BASE = "computed afterwards", "a network", "one base"


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


#: Words by which corrections are of a network, or were there only afterwards.
_STRONG = {
    COMPUTED: _words("ppk pp postproc postprocessed postprocessing"),
    NETWORK: _words(
        """
        nrtk netrtk rtn vrs network net ntrip cors fkp imax netz netzwerk reseau rete rede redrtk nettverk natverk
        netwerk netvaerk verkko siec sit
        """
    ),
}
#: Words that say a network whatever is beside them, and those that do beside that of real-time kinematics: of others a
#: base of one's own may be heard (a caster, the network of a telephone).
_PLAINLY = _words("nrtk netrtk rtn vrs fkp imax redrtk")
_OF_LINKS, _RTK = _words("ntrip cors net sit"), _words("rtk")
#: Those of a connection that an own base uses too: of a network only beside words of a base.
_CONNECTION = _words("internet gsm gprs umts lte g cellular mobile mobil mobilfunk wifi wlan ip tcp tcpip cell sim")
_BASE = _words(
    """
    base radio uhf vhf own local rtk single basis basisstation basestation funk eigen eigene lokal locale propia propio
    propria proprio propre egen basstation basestasjon baza wlasna vlastni radiomodem
    """
)
#: Words beside these that say nothing of it.
_NEUTRAL = _words(
    """
    gnss gps corr correction corrections station stn mode modem fix fixed float data link internal external int ext
    rtcm msm service type solution solutions kinematic real time id rover via by from de la le der die das
    """
)
#: What says that a reading is of a rover, and a solution too where a column's heading says that it is of these.
_OF_ROVER = _words("gnss gps rtk nrtk vrs ppk rover glonass galileo satellite satellites")
_SOLVED = _words("fix fixed")
#: What says that it was measured otherwise, or not at all; the pairs are one word in other languages.
_OTHERWISE = _words(
    """
    tps ts tachy tachymeter tachymetrie tachymetry tacheometer tacheometry tacheometre tacheometrie totalstation
    totalstasjon totaalstation takymeter takymetri takymetria tachimetr tachymetr tachimetro taquimetro theodolite
    theodolit robotic keyed keyin entered typed computed calculated calc cogo imported digitized digitised
    eingegeben berechnet importiert digitalisiert saisi calcule importe introducido calculado importado digitado
    calcolato inserito importato ingevoerd berekend geimporteerd beregnet beraknad inmatad importerad laskettu
    obliczony wprowadzony vypocteny
    """
)
_PAIRS = (
    {"total", "station"}, {"estacion", "total"}, {"estacao", "total"}, {"stazione", "totale"}, {"station", "totale"},
    {"key", "in"},
)  # fmt: skip
#: Words of a value beyond which it is a remark.
_TERSE = 5


@lru_cache(maxsize=1024)
def way_said(value: str) -> str:
    """Return from where corrections were by a value all of whose words are of this; "" where it is of anything else."""
    words = set(words_of(folded(value)))
    if not words or not words <= _STRONG[COMPUTED] | _STRONG[NETWORK] | _CONNECTION | _BASE | _NEUTRAL:
        return ""
    strong = next((way for way, said in _STRONG.items() if words & said), "")
    return strong or (ONE_BASE if words & _BASE else NETWORK if words & _CONNECTION else "")


def plainly_network(value: str) -> bool:
    """Tell whether a value says that corrections were of a network, and cannot say how an own base was heard."""
    words = set(words_of(folded(value)))
    return bool(words & _PLAINLY or (words & _RTK and words & (_STRONG[NETWORK] - _OF_LINKS)))


def only_connections(values: list[str]) -> bool:
    """Tell whether those values that say a network may as well say how an own base was heard."""
    every = [set(words_of(folded(value))) for value in values if way_said(value) == NETWORK]
    return not any(words & _STRONG[NETWORK] for words in every)


def by_rover(value: str, of_solutions: bool = False) -> bool:
    """Tell whether a value says that a reading is of a rover; ``of_solutions`` where its heading says solutions."""
    words = words_of(folded(value))
    return (
        not otherwise(value)
        and len(words) <= _TERSE
        and bool(set(words) & (_OF_ROVER | (_SOLVED if of_solutions else set())))
    )


@lru_cache(maxsize=1024)
def otherwise(value: str) -> bool:
    """Tell whether a value says that a reading is of another instrument, or was typed in or computed."""
    words = words_of(folded(value))
    return len(words) <= _TERSE and (not _OTHERWISE.isdisjoint(words) or any(pair <= set(words) for pair in _PAIRS))
