"""Recognises the language that headings are in, and which letters beyond ASCII it is written with.

Words and letters are from memory, as a dictionary has them. Languages of other scripts need none: a code page that
reads them shows it by its letters.
"""

from collections.abc import Iterable

from pipeline.files.heading_words import words_of

#: Letters beyond ASCII, and words of headings without accents; those of English are
#: left out, which are written in files of any language.
_LANGUAGES = (
    ("äöüß", """punkt punktnummer breite lange laenge hohe hoehe zeit uhrzeit datum losung loesung genauigkeit
        rechtswert hochwert lage jahr bemerkung"""),
    ("àâçéèêëîïôùûüÿœæ", "hauteur heure nord est annee remarque matricule ellipsoidale numero nom"),
    ("áéíóúüñ", """punto latitud longitud altura elipsoidal elevacion fecha hora solucion norte este cota
        estado ano senal estacion nombre descripcion observaciones"""),
    ("áâãàçéêíóôõúü", """ponto altura elipsoidal data hora solucao precisao norte leste
        cota estado ano estacao nome descricao observacoes"""),
    ("àèéìòùî", """punto latitudine longitudine quota altezza ellissoidica data ora soluzione precisione nord est nome
        stato"""),
    ("áéëïóöü", "punt breedtegraad lengtegraad hoogte tijd datum oplossing nauwkeurigheid noord oost naam"),
    ("åäöé", "punkt latitud longitud bredd langd hojd tid datum losning ar anmarkning nord ost noggrannhet"),
    ("æøåéäöáðíóúýþ", """punkt bredde lengde laengde hoyde hojde tid klokkeslett klokkeslaet klokke dato losning
        nord ost navn ar merknad bemaerkning punktur breidd lengd haed timi dagsetning lausn"""),
    ("äöåšž", "piste leveys leveysaste pituus pituusaste korkeus aika kello pvm ratkaisu laatu pohjoinen ita nimi"),
    ("ąćęłńóśźż", """punkt szerokosc dlugosc wysokosc elipsoidalna czas godzina data rozwiazanie jakosc nazwa
        dokladnosc numer uwagi rok wspolrzedna"""),
    ("áčďéěíňóřšťúůýžäĺľôŕ", """bod sirka delka dlzka vyska elipsoidicka elipsoidna cas datum den reseni riesenie
        presnost nazev nazov poznamka rok hodina"""),
    ("áéíóöőúüű", """pont pontszam szelesseg hosszusag magassag ellipszoid feletti ido idopont datum megoldas
        pontossag eszak kelet kod megjegyzes"""),
    ("ăâîșțşţ", """punct latitudine longitudine inaltime altitudine elipsoidala cota data ora timp solutie precizie
        nord est denumire"""),
    ("čćđšž", """tocka tacka sirina duzina duljina dolzina visina elipsoidna vrijeme vreme cas datum rjesenje resenje
        resitev tocnost sjever sever istok vzhod naziv ime"""),
    ("çğıöşüİâîû", """nokta enlem boylam yukseklik yuksekligi elipsoidal tarih saat zaman cozum hassasiyet kuzey dogu
        saga yukari ad adi aciklama"""),
    ("āčēģīķļņšūž", """punkts platums garums augstums elips datums laiks risinajums kods ziemeli austrumi precizitate
        piezimes nosaukums"""),
    ("ąčęėįšųūž", """taskas platuma ilguma aukstis data laikas sprendimas sprendinys kodas siaure rytai
        tikslumas pastabos pavadinimas"""),
    ("äõöüšž", "punkt laius pikkus korgus kuupaev aeg kellaaeg lahendus kood pohi ida tapsus markus nimi"),
    ("çë", "pika gjeresia gjatesia lartesia koha data zgjidhja veriu lindja emri"),
)  # fmt: skip
_WORDS = tuple((frozenset(letters + letters.upper()), frozenset(words.split())) for letters, words in _LANGUAGES)
#: Words that must be of one language at least: a single one may be anything.
_ENOUGH = 2


def letters_of(lines: Iterable[str]) -> frozenset[str]:
    """Return the letters beyond ASCII of the language that most words are of, of several if as many are of them.

    Empty where no language is known by its words.
    """
    there = {word for line in lines for word in words_of(line)}
    counts = [len(there & words) for _, words in _WORDS]
    most = max(counts)
    if most < _ENOUGH:
        return frozenset()
    return frozenset[str]().union(
        *(letters for (letters, _), count in zip(_WORDS, counts, strict=True) if count == most)
    )
