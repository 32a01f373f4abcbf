"""What solutions are called, in the languages of the trade: fixed ones, float ones, and others."""

import re
from collections.abc import Collection

from pipeline.files.heading_words import plain_letters
from pipeline.letter_case import folded


def _letters(text: str) -> str:
    return re.sub(r"[\W_]+", "", plain_letters(text.casefold()))


def _listed(text: str) -> frozenset[str]:
    """Return the words of a list as those of an export are compared with them."""
    return frozenset(map(_letters, text.split()))


#: What integer ambiguities resolved are called, in the languages of the trade.
_CALLED = """
    fix fixed rtkfix rtkfixed fixrtk fixedrtk integer intfix fixedinteger integerfixed integerfix fixsolution
    fixedsolution solutionfixed fixe fixee solutionfixe fijo fija solucionfija fixa fixo solucaofixa fisso fissa
    soluzionefissa fixiert fixierteloesung fixlosung fixloesung vast vasteoplossing fast fastlosning fiks fiksert
    fikseret fixlosning fixni fixnireseni fixovane pevne ustalone rozwiazanieustalone kiintea fixed3d 3dfixed
    gnssfixed fixedgnss rtkinteger ppkfixed fixedppk narrowint narrowinteger l1int wideint fikserad fiksno sabit
    fikseeritud fiksets fiksetais fiksuotas fiksuotasis fiksuota
    фикс фиксированное фиксированноерешение фіксоване фиксирано фиксирана фиксно 固定 固定解 固定解算 고정 고정해
    fixert fixerad fiksattu gefixeerd fixiertelosung fixes fixees fijada fijado fixada fixado fissata fissato
    fiksna fiksni fiksen fiksnaresitev fiksnorjesenje fiksnoresenje fiksirano fiksirana fiksiran
    fixne fixneriesenie fixny pevneriesenie rogzitett rogzitettmegoldas fixmegoldas fixat fixata solutiefixa fikse
    fikseta fikseetud fastlausn fiksowane sabitcozum fikslenmis tetap codinh solusifix
    σταθερη σταθερο σταθερηλυση επιλυμενη фиксированный фиксированная фиксировано целочисленное целочисленноерешение
    фіксований фіксована фікс фіксаванае фиксна фиксиран бекітілген ფიქსირებული ֆիքսված
    ثابت ثابتة حلثابت فیکس קבוע מקובע פתרוןקבוע स्थिर फिक्स คงที่ ฟิกซ์ フィックス フィックス解 fix解 整数解 整數解 픽스
    픽스해 고정됨
"""
#: What is no such solution, likewise; those of the first line are of ambiguities that stayed real numbers.
_FLOAT = """
    float floating floated flt floatrtk rtkfloat floatsolution floatingsolution gnssfloat ppkfloat flotante flotantertk
    flottant flottante flottee solutionflottante flutuante flutuantertk fluttuante gleitend gleitloesung gleitlosung
    floatlosung floatloesung drijvend zwevend flyt flytande flytende flytlosning flydende kelluva plovouci
    plovoucireseni zmiennoprzecinkowe zmienne lebegopont lebego lebdeci schwebend schwebendelosung narrowfloat
    liukuva ujuv ujuvlahend peldoss peldosais slankus slankusis slankioji fljotandi
    kayan плавающее плавающеерешение плав плаваюче плаващо плаващорешение плаваща
    浮动 浮動 浮动解 浮動解 フロート フロート解 부동 부동해
    flotant flotanta plutitor plutitoare flottierend vlottend svavende svaevende
    plavajoca plavajoce plavajoc plavajocaresitev plutajuce plutajuca plutajuci lebdece lebdeca
    plavajuce plavajuca plavajuci plavajuceriesenie lebegomegoldas lebegopontos plywajace peldosa plaukiojantis
    yuzer mengambang terapung thanoi notues
    επιπλεουσα κινητη κυμαινομενη плавающий плавающая плавун лебдеће лебдећи пловечко қалқымалы მცურავი լողացող
    عائم عائمة حلعائم شناور צף צפה פתרוןצף फ्लोट ลอย โฟลต 浮点 浮點 浮点解 浮點解 フローティング 유동 유동해 플로트
    플로트해
"""
_OTHER = """
    autonomous autonomo autonoma autonome autonom autonomi autonominen autonomni autonomiczne standalone single spp
    dgps dgnss rtd differential differentiel differenziale diferencial differentiell codediff codedifferential diff
    sbas waas egnos ppp none no nofix nosolution notfixed unfixed invalid navigation navigated estimated
    автономное автономный автономне дифференциальное одиночное 单点 單點 单点解 單點解 単独 単独測位 差分 差分解 伪距
    avtonomna avtonomno samostojna samostalno onallo otonom mandiri doclap autonoms autonominis autonoomne
    αυτονομη αυτονομο διαφορικη автономная автономно дифференциальная диференційне диференцијално кодовое навигационное
    مستقل منفرد تفاضلي تفاضلی עצמאי אוטונומי דיפרנציאלי 单点定位 單點定位 単独解 自主 偽距 독립 단독 단독측위 단독해
    차분 차분해
"""
FIXED, FLOATING = _listed(_CALLED), _listed(_FLOAT)
KNOWN = FIXED | FLOATING | _listed(_OTHER)
#: No fixed ones: decimetres to metres off, by nature. Precise point positioning need not be.
_COARSE = (KNOWN - FIXED - {"ppp"}) | {"code", "codephase", "uncorrected", "dr", "deadreckoning"}
#: Stems that say so wherever they stand in a word, the first of floats; and words that do by themselves. Where one
#: beside them says fixed, those of floats do yet: fixed/float.
_FLOATS = (
    "float",
    "flott",
    "flutuant",
    "fluttuant",
    "gleitend",
    "zmiennoprzec",
    "plovouci",
    "kelluv",
    "lebego",
    "liukuv",
    "fljotand",
    "плаваю",
    "плаващ",
    "plavajoc",
    "plavajuc",
    "plutajuc",
)
_STEMS = (
    "autonom", "avtonom", "standalone", "dgps", "dgnss", "differen", "diferen", "sbas", "waas", "egnos", "автоном",
    "дифферен", "диферен",
)  # fmt: skip
_ALONE = _COARSE - {"no", "dr", "code"}
#: How carrier phases are differenced, fixed or float; and words for what a solution is not: fixed, no float.
_DIFFERENCED = re.compile(r"(?:double|triple|doble|dupla|doppia|dubbele?|doppel)[\W_]*dif+eren[^\W\d_]*")
_DENY = """
    no not non un nicht kein keine ohne sans pas sin sem senza nao ikke inte ej niet geen nie bez ne nem не нет без nu
    neni nav ei tidak bukan belum khong chua jo nuk ez ni lost failed
    ні няма nema μη μην οχι δεν غير ليس لا بدون לא אינו नहीं ไม่ ยังไม่
    未 非 不 没 沒 비 미
"""
#: What stands behind such a word and says that it is not so, as the last word, behind a colon or in brackets.
_DENY_BEHIND = """
    nein nej nei nee nie nahin hayir yok degil false falsch falso faux off lost failed pending
    아님 안됨 아니오 않음 否 いいえ なし
"""
#: Likewise behind a colon or an equals sign alone; in brackets they abbreviate other things.
_SIGNS = frozenset("nf0")
#: Likewise where no blank parts the two.
_DENY_ENDS = "degil でない ではない じゃない でありません 되지않음 되지않은 아님 안됨 नहीं 否"
_NEGATIONS = _listed(_DENY)
_BEHIND, _ENDS = _NEGATIONS | _listed(_DENY_BEHIND), _listed(_DENY_ENDS)
#: Letters of a word that may stand between a negation and what it denies: nie je fixné.
_SMALL = 3
#: What is measured to within centimetres, as a rule, and says nothing of whether ambiguities were resolved.
_PRECISE = frozenset(
    ("rtk", "nrtk", "rtn", "ppk", "vrs", "networkrtk", "rtknetwork", "phase", "carrier", "carrierphase", "narrow")
)
#: A position of any kind is called that, too: DGPS fix.
_NOUN = "fix"
#: Figures and letters of NMEA 0183 of which one alone, 4 or R, means fixed; others count otherwise, and one alone too.
_FIGURES, _INDICATED, _NOT_R = frozenset("123456789"), "4", frozenset("adefmns")
_APART = re.compile(r"[\W_\d]+")


def is_coarse(word: str) -> bool:
    """Tell whether a word means a solution that is no fixed one, by itself or among others."""
    text = _DIFFERENCED.sub(" ", plain_letters(word.casefold()))
    whole = _letters(text)
    denied = _denies_fixed(text)
    if denied or whole in FIXED:
        return denied
    parts = _said([part for part in _APART.split(text) if part])
    if whole in _COARSE or any(_of_float(part) for part in parts):
        return True
    return not _says_fixed(parts) and (_has(whole, _STEMS) or any(part in _ALONE for part in parts))


def is_fixed(word: str) -> bool:
    """Tell whether a word means a fixed solution, by itself or among others."""
    text = _DIFFERENCED.sub(" ", plain_letters(word.casefold()))
    parts = _said([part for part in _APART.split(text) if part])
    return not is_coarse(word) and (_letters(text) in FIXED or _says_fixed(parts))


def is_float(word: str) -> bool:
    """Tell whether a word means a float solution, by itself or among others."""
    parts = _said([part for part in _APART.split(plain_letters(word.casefold())) if part])
    return _letters(word) in FLOATING or any(_of_float(part) for part in parts)


def is_precise(word: str) -> bool:
    """Tell whether a word means work with phases, fixed or float: RTK, PPK."""
    return _letters(word) in _PRECISE


def _denies_fixed(text: str) -> bool:
    """Tell whether a text says that a solution is not fixed, in one word or in several, and nowhere that one is."""
    answered = re.findall(r"([^\W_]+)[\W_]*([:=(])[\W_]*([^\W_]+)", text)
    for part, sign, answer in answered:
        if part in FIXED and (answer in _BEHIND or (sign != "(" and answer in _SIGNS)):
            return True
    whole = _letters(text)
    if any(whole.startswith(no) and whole[len(no) :] in FIXED for no in _NEGATIONS):
        return True
    if re.match(r"\s*[!¬]", text) or any(whole.endswith(no) and whole[: -len(no)] in FIXED for no in _ENDS):
        return True
    parts = [part for part in re.split(r"[\W_]+", text) if part]
    fixed = {place for place, part in enumerate(parts) if part in FIXED}
    denied = {place for place in fixed if _is_denied(parts, place)}
    in_one = any(part.startswith(no) and part[len(no) :] in FIXED for part in parts for no in _NEGATIONS)
    return (bool(denied) or in_one) and fixed == denied


def _is_denied(parts: list[str], place: int) -> bool:
    """Tell whether a word stands behind a negation, with a small word between them at most, or before a last one."""
    before = parts[max(place - 2, 0) : place][::-1]
    if before and (before[0] in _NEGATIONS or (before[-1] in _NEGATIONS and _is_small(before[0]))):
        return True
    return len(parts) == place + 2 and parts[-1] in _BEHIND


def _is_small(part: str) -> bool:
    return part.isalpha() and len(part) <= _SMALL and part not in KNOWN


def _said(parts: list[str]) -> list[str]:
    """Return the parts of a text without those that it denies: the first behind a negation that means a solution."""
    said, denied = [], False
    for part in parts:
        if part in _NEGATIONS:
            denied = True
        elif denied and (part in KNOWN or _has(part, (*_FLOATS, *_STEMS))):
            denied = False
        else:
            said.append(part)
    return said


def _says_fixed(parts: list[str]) -> bool:
    """Tell whether one of the parts means fixed, and not any position: that stands behind its kind or beside it."""
    kinds = [_has(part, _STEMS) for part in parts]
    alone = sum(kinds) == len(parts) - 1
    for number, part in enumerate(parts):
        noun = part == _NOUN and any(kinds) and (alone or (number > 0 and kinds[number - 1]))
        if part in FIXED and not noun:
            return True
    return False


def _of_float(part: str) -> bool:
    return part in FLOATING or _has(part, _FLOATS)


def _has(text: str, stems: tuple[str, ...]) -> bool:
    return any(stem in text for stem in stems)


def coarse_among(words: Collection[str]) -> list[str]:
    """Return which of the words that a job accepts together mean no fixed solution, as written.

    Of figures, and of single letters beside R, one alone means fixed. Where it is not 4 it is not known which, and all
    but the first are returned.
    """
    bare = [(word, folded(word)) for word in words]
    figures = list(dict.fromkeys(text for _, text in bare if text in _FIGURES))
    fixed = _INDICATED if _INDICATED in figures else next(iter(figures), "")
    letters = _NOT_R if "r" in {text for _, text in bare} else frozenset[str]()
    return [word for word, text in bare if is_coarse(word) or (text in figures and text != fixed) or text in letters]
