"""Tells files and folders that are called old, in words of many languages."""

from pipeline.files.heading_words import words_of
from pipeline.files.old_and_new import OLD

#: What a folder is called besides into which files are put that are not to be used. Ours, no source.
_PUT_AWAY = frozenset(
    """archive archives archiv arkiv archivo arquivo archivio archief archiwum arkisto rejected discarded unused trash
    bin test tests""".split()  # noqa: SIM905, one line per language or two
)


def is_called_old(name: str) -> bool:
    """Tell whether the name of a table, without its ending, says that another took its place."""
    return not OLD.isdisjoint(_words(name))


def is_put_away(folder: str) -> bool:
    """Tell whether the name of a folder says that what is in it is not in use."""
    return not (OLD | _PUT_AWAY).isdisjoint(_words(folder))


def _words(name: str) -> set[str]:
    return {word for capitals in (False, True) for word in words_of(name, capitals=capitals)}
