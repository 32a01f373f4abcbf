"""Words by which names and headings say an earlier or a later state: "Höhe alt", "Easting 2020", "X新"."""

import re

from pipeline.files.heading_words import run_together

#: What a table or folder is called that another took the place of, as a dictionary has it, without accents; of the
#: languages in which `new_job.languages` knows headings. Words that name a height as well, or a copy of whatever age,
#: are left out.
OLD = frozenset(
    """old older former previous superseded obsolete backup bak
    alte altes alter frueher fruehere vorherige vorheriger veraltet uberholt ueberholt ungultig ungueltig sicherung
    sicherungskopie
    ancien anciens ancienne anciennes precedent precedente precedents perime sauvegarde
    viejo viejos vieja viejas antiguo antiguos antigua antiguas anterior anteriores obsoleto obsoletos respaldo
    antigo antigos antiga antigas velho velhos velha velhas
    vecchio vecchi vecchia vecchie precedenti superato obsoleti
    oud oude vorig vorige vervallen verouderd verouderde reservekopie
    gammal gamla tidigare foregaende foraldrad sakerhetskopia
    gammel gammelt gamle tidligere forrige utgatt foraeldet foreldet gamalt gamall eldri fyrri
    vanha vanhat aiempi aiemmat edellinen vanhentunut varmuuskopio
    stary stare stara poprzedni poprzednie nieaktualny nieaktualne
    predchozi predchadzajuce neplatny neplatne zastaraly zastarale zaloha
    regi korabbi elozo elavult ervenytelen
    vechi veche vechiul anterioare
    stari staro prethodni prejsnji zastarjeli zastareli zastarel
    eski onceki yedek
    vecs vecais veca ieprieksejais novecojis senas sena seni ankstesnis pasenes vana vanad eelmine vananenud
    vjeter vjetra""".split()  # noqa: SIM905, one line per language or two
)
#: The same of what took its place, and what is short for either where a word for what it is of stands beside it.
_NEW = frozenset(
    """new newer current revised updated readjusted adjusted latest
    neu neue neuer neues neuen aktuell aktuelle gultig gueltig
    nouveau nouvelle nouveaux nouvelles actuel actuelle
    nuevo nueva nuevos nuevas novo nova novos novas atual
    nuovo nuova nuovi nuove attuale nieuw nieuwe huidig huidige
    ny nye nya nytt gallande gjeldende gaeldende gildandi nyr
    uusi uudet nykyinen nowy nowa nowe aktualny aktualne
    aktualni platny platne novy nove uj nou noua noi novi
    yeni guncel jauns jauna naujas nauja uus iri""".split()  # noqa: SIM905, one line per language or two
)
_SHORT = frozenset(
    ("alt", "altes", "anc", "ant", "prev", "vorh", "fruher", "frueher",
     "старая", "старыи", "старые", "новая", "новыи", "новые")
)  # fmt: skip
#: Signs of Chinese, Japanese and Korean for old and new, which stand before or behind the word.
_SIGNS = re.compile(r"[旧舊新]|구(?=\s)|신(?=\s)|(?<=\s)구|(?<=\s)신")
_YEAR = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)")
_BRACKETS = re.compile(r"[\s_.\-]*[(\[]\s*[)\]]")
_WORD = re.compile(r"[^\W\d_]+")


def without_state(heading: str) -> str:
    """Return a heading without the words, signs and years that say a state; "" where it has none, or nothing else.

    Words that are short for one are taken off where no other says it: "Alt 2016" is an altitude.
    """
    timeless = _YEAR.sub(" ", _SIGNS.sub("", heading))
    for words in (OLD | _NEW, _SHORT):
        said = {word for word in _WORD.findall(timeless) if run_together(word) in words}
        rest = (
            re.sub("|".join(rf"(?<![^\W\d_]){word}(?![^\W\d_])" for word in said), " ", timeless) if said else timeless
        )
        rest = re.sub(r"\s+", " ", _BRACKETS.sub("", rest)).strip(" _.-")
        if rest != re.sub(r"\s+", " ", heading).strip(" _.-") and _WORD.search(rest):
            return rest
    return ""
