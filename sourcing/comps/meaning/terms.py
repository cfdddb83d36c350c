"""Words inside cells: how a listing stands, conditions, yes and no, sizes; of the languages the header words know."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache

from sourcing.comps.columns import STATUSES
from sourcing.comps.meaning.header_words import fold

_STATUS = {
    "sold": "sold sale paid completed_sale verkauft vendu vendue vendido vendida venduto venduta verkocht",
    "open": "open active live listed unsold_yet for_sale on_sale available running current offen aktiv laufend online "
    "zu_verkaufen verfugbar en_vente actif active en_cours disponible en_venta activo activa abierto in_vendita attivo "
    "in_corso disponibile aperto te_koop actief beschikbaar lopend",
    "ended unsold": "ended_unsold unsold not_sold expired ended_without_sale withdrawn cancelled "
    "canceled nicht_verkauft "
    "unverkauft abgelaufen zuruckgezogen invendu non_vendu expire retire no_vendido sin_vender caducado vencido "
    "retirado invenduto non_venduto scaduto ritirato onverkocht niet_verkocht verlopen ingetrokken",
}
YES = frozenset(["yes", "y", "true", "1", "ja", "oui", "si", "sim", "vrai", "wahr"])
NO = frozenset(["no", "n", "false", "0", "nein", "non", "nee", "faux", "falsch"])
_CONDITION = {
    "new": "new brand_new new_with_tags new_in_box sealed unused unworn neu neuf neuve nuevo nueva nuovo nuova nieuw "
    "ungetragen originalverpackt",
    "like new": "like_new as_new mint excellent neuwertig wie_neu comme_neuf como_nuevo "
    "come_nuovo als_nieuw zo_goed_als_nieuw",
    "good": "good very_good gut sehr_gut bon bon_etat tres_bon_etat bueno buen_estado muy_bueno buono ottimo goed",
    "used": "used second_hand preowned pre_owned worn gebraucht getragen occasion d_occasion usado usada segunda_mano "
    "usato usata gebruikt tweedehands",
    "fair": "fair acceptable poor akzeptabel massig correct acceptable aceptable regular "
    "accettabile discreto redelijk matig",
    "damaged": "damaged defective broken for_parts as_is beschadigt defekt abime defectueux "
    "casse danado defectuoso roto "
    "danneggiato difettoso rotto beschadigd kapot",
}
_PREFIX = re.compile(
    r"^(?:size|sz|gr(?:o(?:ss|ß)e)?|größe|taille|pointure|talla|taglia|maat)\b\.?\s*:?\s*", re.IGNORECASE
)
_JOINTS = re.compile(r"[_\-./,'\u2019()]+")
_FRACTION = re.compile(r"(\d+)\s*[ \-]?\s*(\d)\s*[/\u2044]\s*(\d)(?!\d)", re.ASCII)
_TENTHS = {("1", "2"): "5", ("1", "4"): "25", ("3", "4"): "75"}
IN_TEXT = re.compile(
    r"\b(?:size|sz|gr(?:ö|o)(?:ß|ss)e|gr\.|taille|pointure|talla|taglia|maat)\s*:?\s*"
    r"(\d{1,3}(?:[.,]5|\s1/2|½)?(?:\s?[a-zA-Z]{1,2}\b)?|(?:X{0,3}[SL]|M)\b)",
    re.IGNORECASE,
)


def _table(words: dict[str, str]) -> dict[str, str]:
    return {word.replace("_", " "): meaning for meaning, line in words.items() for word in line.split()}


_STATUSES, _CONDITIONS = _table(_STATUS), _table(_CONDITION)


@lru_cache(4096)
def term(cell: str) -> str:
    """Return a cell folded for comparing words: without case, accents, dashes and dots."""
    return " ".join(_JOINTS.sub(" ", fold(cell)).split())


def status_of(cell: str, *, about_sold: bool = False) -> str:
    """Return the documented status a word stands for, "" when it is not told; `about_sold`: yes means sold."""
    word = term(cell)
    if word in STATUSES:
        return word
    return "sold" if about_sold and word in YES else _STATUSES.get(word, "")


def is_condition(cell: str) -> bool:
    """Tell whether a cell is a word for a condition."""
    return term(cell) in _CONDITIONS


def condition_of(cell: str, own: Iterable[str]) -> str:
    """Return the user's own word for a condition, "" when none of their words means the same."""
    word = term(cell)
    meaning = _CONDITIONS.get(word)
    alike = ""
    for ours in own:
        if term(ours) == word:
            return ours
        if meaning and not alike and _CONDITIONS.get(term(ours)) == meaning:
            alike = ours
    return alike


def condition_in(text: str) -> str:
    """Return the longest word for a condition that a text holds, "" when there is none or they disagree."""
    words = f" {term(text)} "
    found = sorted((word for word in _CONDITIONS if len(word) > 2 and f" {word} " in words), key=len, reverse=True)
    found = [word for word in found if not any(word in longer and word != longer for longer in found)]
    return found[0] if len({_CONDITIONS[word] for word in found}) == 1 else ""


def size_text(cell: str) -> str:
    """Return a size with halves as decimals and without a word before it; widths and all else are kept."""
    text = " ".join(cell.split())
    bare = _PREFIX.sub("", text) or text
    plain = re.sub(r"(\d)\s?([½¼¾])", lambda m: f"{m[1]} {unicodedata.normalize('NFKC', m[2])}", bare)
    plain = _FRACTION.sub(_decimal, plain)
    return re.sub(r"(?<=\d),(?=\d\b)", ".", plain)


def _decimal(match: re.Match[str]) -> str:
    tenths = _TENTHS.get((match[2], match[3]))
    return f"{match[1]}.{tenths}" if tenths else match[0]
