"""What the keys of ``[linework]`` must be to one another: no word with two meanings, and none that cannot be found."""

from pipeline.job.key_lines import Where
from pipeline.job.model import Linework
from pipeline.near import plain
from pipeline.problems import Problems

#: The keys whose words stand behind codes.
WORDS = ("start", "end", "close")


def check_linework(linework: Linework, table: bool, where: Where, problems: Problems) -> None:
    """Note what cannot be true of how strings are written; ``table`` says whether the job names a table of codes."""
    if not linework.codes and not table:
        what = "no code is defined as a string code"
        problems.add(*where("codes"), what, 'write codes = ["KERB"], or name a table of codes with kind = line')
    first: dict[str, str] = {}
    for position, code in enumerate(linework.codes):
        other = first.setdefault(plain(code), code)
        if position != linework.codes.index(code) or other != code:
            what = f"the code '{code}' is listed twice" + (f", also as '{other}'" if other != code else "")
            problems.add(*where("codes", position), what, "keep one of them: upper and lower case are the same")
    if any(sign.isalnum() for sign in linework.separator):
        what = f"letters or digits cannot separate a code from words: '{linework.separator}'"
        problems.add(*where("separator"), what, 'such as " " or "-"')
    _check_words(linework, where, problems)


def _check_words(linework: Linework, where: Where, problems: Problems) -> None:
    separator, meaning = linework.separator.strip(), dict[str, str]()
    for key in WORDS:
        for word in getattr(linework, key):
            told = plain(word)
            other = meaning.setdefault(told, key)
            if other != key:
                what = f"'{word}' is a word for {other} and for {key}"
                problems.add(*where(key), what, "give each a word of its own")
            parted = separator in told if separator else linework.separator != "" and " " in told
            if parted:
                what = f"'{word}' contains the separator between code and words, '{linework.separator}'"
                problems.add(*where(key), what, "write it as one word")
            if told.isdigit() and (linework.number == "word" or linework.separator == ""):
                what = f"'{word}' cannot be distinguished from the number of a string"
                problems.add(*where(key), what, 'write a word with letters, or number = "none"')
