"""Words of solutions that are no fixed ones, as exports spell them."""

import pytest

from pipeline.new_job.solutions import is_fixed as is_fixed_in_drafts
from pipeline.read.solution_words import coarse_among, is_coarse, is_fixed

COARSE = [
    "float", "Float", "FLOATING", "FLT", "RTK Float", "RTK_FLOAT", "L1 float", "RtkFloat", "5 - RTK float",
    "fixed/float", "float, fixed height", "Fixed or float", "float (no fix)", "double difference float", "Fix: DGPS",
    "SBAS fix", "autonomous fix", "differential, not fixed",
    "Autonomous", "GPS autonomous", "stand-alone", "Standalone", "Single", "DGPS", "DGPS fix", "SBAS", "Code Diff",
    "nicht fixiert", "non fixé", "NON FISSO", "no fijo", "não fixo", "niet vast", "ikke fast", "not-fixed", "nonfixed",
    "не фикс.", "unfixed", "schwebend", "plovoucí", "浮動", "浮动解", "плавающее", "автономное", "narrow-float", "単独",
    "no fix", "Not fixed", "none", "Flotante", "Solution flottante", "Gleitlösung", "zwevend", "kelluva", "RTK flyt",
    "유동", "부동해", "浮点", "浮點解", "PLAVAJOČA", "Plutajuće", "Lebegő", "Plávajúce", "Επιπλέουσα", "Thả nổi",
    "عائم", "צף", "ลอย", "단독", "автономный", "未固定", "不固定", "Avtonomna", "nefiksno", "フロート",
    "Liukuva", "Ujuv", "Peldošs", "Slankus", "Fljótandi", "Плаващо", "L1 Flottante",
]  # fmt: skip
FIXED = [
    "fix", "FIXED", "RTK Fixed", "4 - RTK fixed", "Fixed (single base)", "fix, single baseline", "network fixed", "INT",
    "integer", "Fixé", "fija", "vast", "fiks", "Kiinteä", "3D fixed", "PPP", "RTK", "4", "R", "",
    "double difference fixed", "Double-Difference", "double difference fix", "Doppeldifferenz", "Fixed (SBAS on)",
    "narrow-int", "固定", "固定解", "Фиксированное решение", "고정해", "sabit", "fixní", "no. 4 fixed",
    "고정", "フィックス", "フィックス解", "ﾌｨｯｸｽ", "FIX解", "FIKSNA", "Fiksno", "Rögzített", "Pevné", "Σταθερή λύση",
    "Cố định",
    "ثابت", "קבוע", "คงที่", "фіксований", "фиксированный", "Fixní",
    "Fikseeritud", "Fiksēts", "Fiksuotas", "Фиксирано", "L1 Fissa",
    "fixed no float", "not float but fixed", "differential fixed", "RTK fix (SBAS on)", "fixed, not autonomous",
]  # fmt: skip


@pytest.mark.parametrize("word", COARSE)
def test_what_is_no_fixed_solution_is_told(word: str) -> None:
    assert is_coarse(word)


@pytest.mark.parametrize("word", FIXED)
def test_what_is_fixed_or_may_be_is_let_be(word: str) -> None:
    assert not is_coarse(word)


@pytest.mark.parametrize(
    ("words", "coarse"),
    [
        (["4", "5"], ["5"]), (["5", "4", "2"], ["5", "2"]), (["1", "2"], ["2"]), (["4"], []), (["2"], []),
        (["R", "F"], ["F"]), (["f"], []), (["fix", "4", "R"], []), (["fix", " Float "], [" Float "]),
    ],
)  # fmt: skip
def test_of_figures_and_letters_one_alone_is_fixed(words: list[str], coarse: list[str]) -> None:
    assert coarse_among(words) == coarse


@pytest.mark.parametrize("word", FIXED[-24:-6])
def test_what_says_fixed_in_other_languages_is_fixed(word: str) -> None:
    assert is_fixed(word)


@pytest.mark.parametrize("word", FIXED[:12])
def test_what_says_fixed_is_fixed(word: str) -> None:
    assert is_fixed(word) != (word == "INT")


@pytest.mark.parametrize("word", [*COARSE, "RTK", "4", "measured", ""])
def test_nothing_else_is_fixed(word: str) -> None:
    assert not is_fixed(word)


#: From a dictionary: negations behind the word, before it with another between, and answers to it.
DENIED = [
    "sabit değil", "sabit: hayır", "固定でない", "固定ではない", "固定：否", "고정 아님", "고정 안됨", "고정되지 않음",
    "nie je fixné", "no es fija", "not a fix", "fixed: no", "fixed=no", "Fixed (no)", "fixed - no", "FIX NO", "fix=0",
    "fix=false", "fix=N", "FIX:0", "fijo: no", "fixe : non", "fixiert: nein", "fix nej", "fissa no", "фикс: нет",
    "фиксированное - нет", "غير ثابت", "לא קבוע", "fix nem", "fixní ne", "fast ikke", "ei kiinteä", "kiinteä ei",
    "fixe pas", "fixo não", "không cố định", "tidak tetap", "μη σταθερή", "σταθερή όχι", "फिक्स नहीं", "ไม่คงที่",
    "fix lost", "!fix",
]  # fmt: skip


@pytest.mark.parametrize("word", DENIED)
def test_fixed_with_a_negation_is_fixed_to_no_one(word: str) -> None:
    assert is_coarse(word) and not is_fixed(word) and not is_fixed_in_drafts(word)


@pytest.mark.parametrize(
    "word",
    ["fixed, no float", "fixed not float", "fixed: yes", "fix=1", "Fix: true", "Fixed (F)", "Fixed (N)", "fix 3D"],
)
def test_other_words_beside_fixed_deny_nothing(word: str) -> None:
    assert is_fixed(word) and not is_coarse(word)


@pytest.mark.parametrize("word", ["fix?", "Fixed (?)", "sabit değil", "Fixed (no)"])
def test_a_draft_accepts_nothing_that_is_in_question(word: str) -> None:
    assert not is_fixed_in_drafts(word)
