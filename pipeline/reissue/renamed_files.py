"""Which raw files only bear another name than in the last issue: their bytes and their block are the same."""

from collections.abc import Mapping

from pipeline.reissue.fingerprint import FILE


def renamed_files(before: Mapping[str, str], after: Mapping[str, str]) -> dict[str, str]:
    """Return by the names of now what raw files were called in the last issue, by the sums of the two identities.

    Of several with the same bytes none is told apart.
    """
    gone, new = (_by_sum(one, other) for one, other in ((before, after), (after, before)))
    pairs = ((new.get(total, []), old) for total, old in gone.items())
    return {names[0]: old[0] for names, old in pairs if len(names) == len(old) == 1}


def _by_sum(those: Mapping[str, str], others: Mapping[str, str]) -> dict[str, list[str]]:
    """Return by its sum what raw files one identity has that the other has not."""
    found: dict[str, list[str]] = {}
    for name, total in those.items():
        if name.startswith(FILE) and name not in others:
            found.setdefault(total, []).append(name.removeprefix(FILE))
    return found
