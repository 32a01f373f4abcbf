"""The halves of the day as they are written beside the times of a 12-hour clock, in many languages.

They are the day periods of Unicode's Common Locale Data Repository, in its abbreviated and wide forms, and what
earlier versions of it had. Noon is of the afternoon.
"""

import re

#: Each pair, morning and afternoon. A point may be left out, and a blank may stand behind it.
_PAIRS = (
    ("a.m.", "p.m."),  # English and many more
    ("vorm.", "nachm."),  # German
    ("v.m.", "n.m."),  # Afrikaans
    ("f.m.", "e.m."),  # Swedish
    ("f.h.", "e.h."),  # Icelandic
    ("a.p.", "i.p."),  # Finnish
    ("de.", "du."),  # Hungarian
    ("dop.", "odp."),  # Czech
    ("dop.", "pop."),  # Slovenian
    ("pre podne", "po podne"),  # Serbian
    ("prije podne", "poslije podne"),  # Bosnian
    ("priekšp.", "pēcp."),  # Latvian
    ("priešpiet", "popiet"),  # Lithuanian
    ("p.d.", "m.d."),  # Albanian
    ("r.n.", "i.n."),  # Irish
    ("y.b.", "y.h."),  # Welsh
    ("öö", "ös"),  # Turkish
    ("sa", "ch"),  # Vietnamese
    ("pg", "ptg"),  # Malay
    ("π.μ.", "μ.μ."),  # Greek
    ("пр.об.", "сл.об."),  # Bulgarian
    ("претпл.", "попл."),  # Macedonian
    ("пре подне", "по подне"),  # Serbian
    ("дп", "пп"),  # Ukrainian
    ("утра", "дня"),  # Russian
    ("утра", "вечера"),
    ("ү.ө.", "ү.х."),  # Mongolian
    ("ص", "م"),  # Arabic
    ("ق.ظ.", "ب.ظ."),  # Persian
    ("غ.م.", "غ.و."),  # Pashto
    ("ب.ن", "د.ن"),  # Central Kurdish
    ("לפנה״צ", "אחה״צ"),  # Hebrew
    ("पूर्वाह्न", "अपराह्न"),  # Hindi, Nepali
    ("म.पू.", "म.उ."),  # Marathi
    ("ਪੂ.ਦੁ.", "ਬਾ.ਦੁ."),  # Punjabi
    ("முற்பகல்", "பிற்பகல்"),  # Tamil
    ("පෙ.ව.", "ප.ව."),  # Sinhala
    ("ก่อนเที่ยง", "หลังเที่ยง"),  # Thai
    ("ກ່ອນທ່ຽງ", "ຫຼັງທ່ຽງ"),  # Lao
    ("上午", "下午"),  # Chinese
    ("午前", "午後"),  # Japanese
    ("오전", "오후"),  # Korean
)
#: Blanks of any kind that may stand within one.
_BLANK = "[ \t\u00a0\u2007\u2009\u200a\u202f\u3000]?"
#: Letters up to which one is short, so that it means much else as well; these two mean nothing else.
_SHORT, _PLAIN = 2, frozenset(("am", "pm", "πμ", "μμ"))


def bare(text: str) -> str:
    """Return a text without blanks and signs, in small letters."""
    return re.sub(r"[\s.,_״'’-]+", "", text.casefold())


def is_short(text: str) -> bool:
    """Tell whether a half of the day is a short word that means much else: "du", "em", "Sa"."""
    return len(bare(text)) <= _SHORT and bare(text) not in _PLAIN and ord(max(bare(text), default=" ")) < _IDEOGRAPHS


#: Where the characters begin of which two are whole words.
_IDEOGRAPHS = 0x3000


def _pattern(written: str) -> str:
    """Return the pattern of one that is written so, for re and RE2."""
    parts = [re.escape(part) for part in re.split(r"[. ]+", written) if part]
    return rf"\.?{_BLANK}".join(parts) + r"\.?"


def _either(written: tuple[str, ...]) -> str:
    return "|".join(map(_pattern, sorted(dict.fromkeys(written), key=lambda one: (-len(one), one))))


#: What is written of each half, bare; patterns of the afternoon, of either, and of either but for short words.
MORNING = tuple(dict.fromkeys(bare(one) for one, _ in _PAIRS))
AFTERNOON = tuple(dict.fromkeys(bare(other) for _, other in _PAIRS))
AFTERNOON_WRITTEN = _either(tuple(other for _, other in _PAIRS))
HALF_WRITTEN = _either(tuple(one for pair in _PAIRS for one in pair))
