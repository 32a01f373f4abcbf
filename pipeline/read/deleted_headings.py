"""Columns that say of rows that they were deleted, disabled, voided or rejected: headings and values, from memory.

A controller that keeps deleted points exports them beside the others, and only such a column tells them apart.
"""

import re
from functools import lru_cache

from pipeline.files.heading_words import plain_letters, words_of
from pipeline.letter_case import folded


def _words(text: str) -> frozenset[str]:
    return frozenset(plain_letters(folded(text)).split())


#: What a row is called that is not to be used, in headings and in cells.
_DELETED = _words(
    """
    deleted delete deletion del void voided disabled disable rejected reject cancelled canceled cancel discarded discard
    excluded exclude invalid invalidated removed erased suppressed ignored ignore
    gelöscht geloescht löschen getilgt gestrichen ungültig ungueltig deaktiviert verworfen storniert ausgeschlossen
    supprimé supprimée effacé effacée annulé annulée désactivé désactivée rejeté rejetée invalide exclu exclue écarté
    eliminado eliminada borrado borrada anulado anulada desactivado deshabilitado inhabilitado rechazado rechazada
    descartado descartada excluido excluida inválido suprimido suprimida cancelado
    apagado apagada removido removida desativado desativada desabilitado rejeitado rejeitada
    eliminato eliminata cancellato cancellata annullato annullata disattivato disabilitato scartato scartata escluso
    invalido respinto
    verwijderd gewist geannuleerd uitgeschakeld afgekeurd vervallen ongeldig verworpen
    slettet annullert annulleret forkastet ugyldig deaktivert deaktiveret kasseret
    raderad raderat borttagen borttaget struken makulerad ogiltig avaktiverad kasserad förkastad
    poistettu hylätty mitätöity usunięty usunięta usunięte skasowany skasowane anulowany anulowane odrzucony odrzucone
    nieważny nieważne wykreślony smazáno smazaný smazané odstraněno vymazáno zrušeno neplatný neplatné vyřazeno
    zamítnuto vymazané zmazané odstránené zrušené törölt törölve érvénytelen șters ștearsă anulat eliminat respins
    obrisano izbrisano izbrisan poništeno odbačeno silindi silinmiş iptal geçersiz kustutatud dzēsts dzēsta ištrintas
    ištrinta eytt διαγραμμένο διεγράφη άκυρο διαγραφή
    удалено удален удалена удалён аннулировано отклонено исключено отключено стерто видалено вилучено скасовано изтрит
    изтрито изтрити заличено
    削除 削除済 削除済み 無効 除外 删除 已删除 刪除 已刪除 作废 作廢 无效 無效 삭제 삭제됨 무효 제외
    محذوف ملغى נמחק מחוק dihapus dibatalkan xóa हटाया ลบ
    """
)
#: What one is called that is to be used, where a heading says it of all: rows with a no are meant.
_SOUND = _words(
    """
    valid enabled accepted gültig gueltig aktiviert valide activé validé válido válida habilitado aceptado aceito valido
    valida abilitato geldig gyldig giltig kelvollinen ważny platný érvényes
    """
)
#: Headings that may say it among other things.
_STATES = _words(
    """
    status state statut état etat estado estatus stato zustand tilstand tila staat stav stan stanje durum durumu статус
    состояние 状态 狀態 状態 상태
    """
)
#: Words beside these in headings and cells that say nothing of their own.
_BESIDE = _words(
    """
    is was as been marked flag flagged point pt pts row record reading observation obs yes no y n by user
    ist wurde als punkt est point es fue punto foi ponto stato punt is punkt
    """
)
#: What a cell below such a heading has for yes, and for no.
_YES = _words(
    """
    yes y true t 1 x ✓ ✔ * -1 on ja j wahr oui o vrai sí s verdadero sim verdadeiro sì vero waar sant kyllä
    k tosi tak ano igen igaz da evet doğru jah jā taip já ναι да д истина так 是 はい 有 ○ 예 네 نعم כן ya có
    """
)
_NO = _words(
    """
    no n false f 0 off nein falsch non faux falso não nao nee onwaar nei nej usann falskt falsk ei epätosi nie fałsz ne
    nem hamis nu fals hayır yanlış όχι нет н ложь ні не 否 いいえ 無 아니오 아니요 لا לא tidak không
    """
)

#: A number that is neither yes nor no.
_COUNT = re.compile(r"(?![+-]?[01](?:[.,]0*)?\Z)[+-]?\d+(?:[.,]\d*)?")
#: What stands beside "removed" where the state is that of a thing.
_OF_THINGS = _words(
    """
    existing existent existente existant esistente bestehend bestand vorhanden bestaand bestaande befintlig eksisterende
    nykyinen olemassa istniejący istniejace stávající existující meglévő mevcut существующий существует 既存 现有
    proposed planned demolished damaged good fair poor bueno malo bom mau buono cattivo bon mauvais gut schlecht
    """
)


def says_otherwise(word: str, text: str) -> bool:
    """Tell whether a cell shows that its column is of something else than readings, ``word`` being what heads it.

    It counts, as "Rejected" epochs, or has the states of things.
    """
    return _COUNT.fullmatch(text.strip()) is not None or (word == "state" and bool(_OF_THINGS & set(words_of(text))))


@lru_cache(maxsize=1024)
def says_deleted(heading: str) -> str:
    """Return how a heading may say that rows are not to be used: "deleted", "sound", "state"; "" if it does not."""
    words = frozenset(words_of(heading))
    for word, called in (("deleted", _DELETED), ("sound", _SOUND), ("state", _STATES)):
        if words & called and words <= called | _BESIDE:
            return word
    return ""


def is_deleted(word: str, text: str) -> bool:
    """Tell whether a cell says that its row is not to be used, ``word`` being what its heading says."""
    plain = plain_letters(folded(text))
    words = frozenset(words_of(text))
    named = bool(words & _DELETED) and words <= _DELETED | _BESIDE and not words & _NO
    if word == "sound":
        return plain in _NO or named
    return named or (word == "deleted" and plain in _YES)
