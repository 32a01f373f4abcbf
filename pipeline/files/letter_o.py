"""The letter O of a longitude: the west by the language of the headings above it, or else nobody knows.

It is Oeste, Ouest and Ovest in Romance languages, and Ost, Oost, Oest in Germanic ones. A wrong side mirrors all points
while all checks may agree, so it is the west only beneath headings of which words are of a Romance language alone, and
none is of a Germanic one. It is never read as the east.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.files.heading_words import words_of
from pipeline.near import listed
from pipeline.tables import flags_of

#: Words of headings in Spanish, Portuguese, French and Italian, without accents, as dictionaries have them; none that
#: is also written in headings of another language, as latitud and altitud (Swedish), data and ora (Romanian),
#: elipsoidal (Turkish), ellipsoidale (Dutch), numero (Finnish), este (Hungarian) and all that is English are.
_ROMANCE = """
    punto puntos vertice altura elevacion fecha hora solucion norte oeste nombre codigo descripcion observaciones
    estacion calidad satelites
    ponto pontos leste solucao precisao descricao observacoes estacao elevacao qualidade marco
    ouest hauteur heure annee remarque remarques matricule borne repere qualite
    ovest altezza quota soluzione precisione descrizione osservazioni stazione codice qualita
"""
#: Words of headings in German, Dutch, the Scandinavian languages and Afrikaans, in which O is the east.
_GERMANIC = """
    punkt punktnummer punktname breite lange laenge geographische hohe hoehe zeit uhrzeit losung loesung
    genauigkeit rechtswert hochwert bemerkung ost west nordbreite ostlange ostlaenge
    breedtegraad lengtegraad breedte lengte hoogte tijd oplossing nauwkeurigheid noord noorderbreedte oosterlengte oost
    bredde bredd lengde laengde langd hoyde hojde hojd tid klokke klokkeslett klokkeslaet dato losning noggrannhet
    noyaktighet nojagtighed navn namn merknad bemaerkning anmarkning ostra ostlig oest
    punktur breidd lengd haed timi dagsetning lausn
    breedtegrade lengtegrade hoogtes tyd oos
"""
#: Words of a Romance language alone that it takes.
_ENOUGH = 2
#: Headings that are told as evidence.
_FEW = 3


def with_west(cells: pa.Array, headings: tuple[str, ...]) -> pa.Array:
    """Return longitudes (n,), texts as written, with W for O where that is sure by the headings of their file."""
    return pc.replace_substring(cells, "O", "W") if west_by(cells, headings) else cells


def west_by(cells: pa.Array, headings: tuple[str, ...]) -> tuple[str, ...]:
    """Return the headings by whose language the O of longitudes is the west; () where that is not sure, or none has it.

    Most longitudes have a letter then: an O here and there is a mistyped zero. Nor is it sure beside a W.
    """
    text = cells.buffers()[-1] if pa.types.is_string(cells.type) else None
    if text is None or not (np.frombuffer(text, np.uint8) == ord("O")).any():
        return ()  # without a look at each cell of a large file
    east, west, either = (int(flags_of(pc.match_substring(cells, letter)).sum()) for letter in "EWO")
    sure = either > 0 and not west and 2 * (either + east) >= len(cells) - cells.null_count
    return romance_headings(headings) if sure else ()


@lru_cache(maxsize=64)
def romance_headings(headings: tuple[str, ...]) -> tuple[str, ...]:
    """Return those of a file's headings that are in a Romance language; () where two words do not show that it is."""
    romance, germanic = frozenset(_ROMANCE.split()), frozenset(_GERMANIC.split())
    words = {heading: set(words_of(heading)) for heading in headings}
    there = set[str]().union(*words.values())
    if len(there & romance) < _ENOUGH or there & germanic:
        return ()
    return tuple(heading for heading, said in words.items() if said & romance)


def evidence(headings: Sequence[str]) -> str:
    """Return the first of the headings that `west_by` found, as a list in words."""
    return listed(headings[:_FEW], '"')


def read_as_west(headings: Sequence[str]) -> str:
    """Return in words that an O was read as the west, and by which of the headings."""
    return (
        f"the letter O of the longitudes is read as west (Oeste, Ouest, Ovest), by the language of the headings"
        f" ({evidence(headings)}); if it stands for the east there, export E"
    )
