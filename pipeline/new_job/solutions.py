"""Which words of a solution column mean fixed: clear ones alone."""

import re
from collections import Counter

from pipeline.job.toml_text import listed
from pipeline.new_job.headings import bare
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.values import MOSTLY

#: What integer ambiguities resolved are called, in the languages of the trade.
_CALLED = """
    fix fixed rtkfix rtkfixed fixrtk fixedrtk integer intfix fixedinteger integerfixed integerfix fixsolution
    fixedsolution solutionfixed fixe fixee solutionfixe fijo fija solucionfija fixa fixo solucaofixa fisso fissa
    soluzionefissa fixiert fixierteloesung fixlosung fixloesung vast vasteoplossing fast fastlosning fiks fiksert
    fikseret fixlosning fixni fixnireseni fixovane pevne ustalone rozwiazanieustalone kiintea fixed3d 3dfixed
    gnssfixed fixedgnss rtkinteger ppkfixed fixedppk
"""
#: What is no such solution, likewise; those of the first line are of ambiguities that stayed real numbers.
_FLOAT = """
    float floating floated floatrtk rtkfloat floatsolution floatingsolution gnssfloat ppkfloat flotante flotantertk
    flottant flottante flottee solutionflottante flutuante flutuantertk fluttuante gleitend gleitloesung floatlosung
    floatloesung drijvend zwevend flyt flytande flytende flytlosning flydende kelluva plovouci plovoucireseni
    zmiennoprzecinkowe zmienne lebegopont lebego lebdeci
"""
_OTHER = """
    autonomous autonomo autonoma autonome autonom autonomi autonominen autonomni autonomiczne standalone single spp
    dgps dgnss rtd differential differentiel differenziale diferencial differentiell codediff codedifferential diff
    sbas waas egnos ppp none no nofix nosolution notfixed unfixed invalid navigation navigated estimated
"""
_FIXED = frozenset(_CALLED.split())
_FLOATING = frozenset(_FLOAT.split())
#: Parts by which longer texts are told: "4 - RTK fixed".
_PARTS = frozenset(("fix", "fixed", "fixe", "fixiert", "fijo", "fisso", "float", "floating", "flottante", "flotante"))
_FLOATS = frozenset(("float", "floating", "flottante", "flotante"))
_APART = re.compile(r"[\W_\d]+")
_KNOWN = _FIXED | _FLOATING | frozenset(_OTHER.split())
#: Indicators of quality in NMEA 0183: 4 is a fixed, 5 a float solution. Columns of figures may count otherwise.
_NMEA = "4"


def is_fixed(word: str) -> bool:
    """Tell whether a word clearly means a fixed solution."""
    return bare(word) in _FIXED


def tell_float(words: Counter[str]) -> bool:
    """Tell whether a column's words, with their counts, are of solutions and tell float ones from others."""
    floating = any(bare(word) in _FLOATING or _FLOATS & set(map(bare, _APART.split(word))) for word in words)
    return floating and are_solutions(words)


def are_solutions(words: Counter[str]) -> bool:
    """Tell whether a column's words, with their counts, are mostly of solutions, some of them fixed or float ones."""
    clear = {word for word in words if bare(word) in _FIXED | _FLOATING or _PARTS & set(map(bare, _APART.split(word)))}
    known = sum(count for word, count in words.items() if word in clear or bare(word) in _KNOWN)
    return bool(clear) and known >= MOSTLY * sum(words.values())


def solutions(words: Counter[str]) -> State:
    """Return the state of ``quality.solutions`` for the words that are there with their counts; None for none."""
    if not words:
        return None
    shown = ", ".join(f"{word} ({count:,})" for word, count in words.most_common(12))
    clear = sorted({word.casefold() for word in words if bare(word) in _FIXED})
    if clear:
        others = ", ".join(f"{word} ({count:,})" for word, count in words.most_common(12) if bare(word) not in _FIXED)
        return Known(listed(clear), f"not accepted: {others}" if others else "")
    first = [_NMEA] if _NMEA in words else []
    every = [*first, *(word for word, _ in words.most_common(6) if word != _NMEA)]
    why = {_NMEA: "fixed, if these are the indicators of NMEA 0183"}
    candidates = [Candidate(listed([word]), why.get(word, "")) for word in every]
    asks = (
        f"which words mean a fixed solution? there are {shown}; if that is no solution, delete its line solution above"
    )
    return Question("quality.solutions", asks, tuple(candidates))
