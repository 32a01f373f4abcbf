"""Tells files and folders that are called old, in words of many languages."""

from pipeline.files.heading_words import words_of

#: What a table or folder is called that another took the place of, as a dictionary has it, without accents; of the
#: languages in which `new_job.languages` knows headings. Words that name a height as well, or a copy of
#: whatever age, are left out.
_OLD = frozenset(
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
#: What a folder is called besides into which files are put that are not to be used. Ours, no source.
_PUT_AWAY = frozenset(
    """archive archives archiv arkiv archivo arquivo archivio archief archiwum arkisto rejected discarded unused trash
    bin test tests""".split()  # noqa: SIM905, one line per language or two
)


def is_called_old(name: str) -> bool:
    """Tell whether the name of a table, without its ending, says that another took its place."""
    return not _OLD.isdisjoint(_words(name))


def is_put_away(folder: str) -> bool:
    """Tell whether the name of a folder says that what is in it is not in use."""
    return not (_OLD | _PUT_AWAY).isdisjoint(_words(folder))


def _words(name: str) -> set[str]:
    return {word for capitals in (False, True) for word in words_of(name, capitals=capitals)}
