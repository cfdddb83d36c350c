"""Finding pieces by what is typed or scanned: a label, a code, or words; one piece, a boxful, or a page of a list."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sourcing.codes import parse_code
from sourcing.errors import BadInput, NotFound, SourcingError
from sourcing.language import gettext
from sourcing.stock import label_pattern, labels, shelf
from sourcing.stock.item import StockItem
from sourcing.storage import Store

By = Literal["", "label", "code", "words"]
MOST_IN_A_BOX = 300


@dataclass(frozen=True)
class Sought:
    """What was found, newest first; ``by`` says by what, ``last`` is where the next page begins, 0 where there is none.

    ``note`` tells of a label that was mistyped.
    """

    items: tuple[StockItem, ...]
    by: By = ""
    last: int = 0
    note: str = ""


def seek(
    store: Store,
    text: str,
    pattern: str,
    *,
    state: str = "",
    bought_at: str = "",
    after: int = 0,
    limit: int = 50,
) -> Sought:
    """Find pieces by a text, which may be empty.

    A label that a piece bears goes before a code that reads the same only where its check character fits; a code goes
    before words.
    """
    text = " ".join(text.split())
    by: By = "words" if text else ""
    if text:
        bearer = labels.bearers(store, text, pattern)
        code = _code(text)
        coded = bool(code) and bool(shelf.find(store, code=code, limit=1))
        if bearer and (label_pattern.fits(text) or not coded):
            return Sought(tuple(bearer), "label")
        if coded:
            by = "code"
    wanted = {"code": code} if by == "code" else {"words": text}
    found = shelf.find(store, state=state, bought_at=bought_at, after=after, limit=limit + 1, **wanted)
    last = found[limit - 1].id if len(found) > limit else 0
    note = (
        label_pattern.wrong_check(label_pattern.folded(text)).wrong
        if not found and label_pattern.mistyped(text, pattern)
        else ""
    )
    return Sought(tuple(found[:limit]), by, last, note)


def piece(store: Store, text: str, pattern: str) -> StockItem:
    """Return the one piece that is meant by a label, its number with a hash in front (#12), or a code.

    Words alone name none, for something is done with what is returned; nor does a bare number, which a label that was
    typed in part would be too.

    Raises
    ------
    BadInput, NotFound
        Several bear that label or code, or only words of pieces match, which are named; none is meant.
    """
    text = text.strip()
    number = _whole_number(text.removeprefix("#"))
    if text.startswith("#") and number is not None:
        return shelf.get(store, number)
    found = seek(store, text, pattern, limit=6)
    exact = found.by in ("label", "code")
    if exact and len(found.items) == 1:
        return found.items[0]
    if exact:
        raise BadInput(
            gettext("“{text}” is not one piece alone: {named}.", text=text[:40], named=_named(found.items)),
            gettext("A label, or the number of one of them."),
            field="piece",
        )
    maybe = (_numbered(store, number) if number is not None else ()) or (found.items if text else ())
    if maybe:
        raise BadInput(
            gettext(
                "“{text}” is no label or whole code of a piece. Did you mean {named}?",
                text=text[:40],
                named=_named(maybe),
            ),
            gettext("A label, a piece's number with its hash, such as #12, or a whole code."),
            field="piece",
        )
    raise NotFound(
        found.note or gettext("No piece is known by “{text}”.", text=text[:40]),
        next_step=gettext("Look for it by name on the stock page."),
    )


def boxful(store: Store, texts: Sequence[str], pattern: str) -> tuple[list[StockItem], list[str]]:
    """Return the pieces that some texts mean, in their order and each once, and what is wrong with the other texts.

    Raises
    ------
    BadInput
        More than fit into a box.
    """
    wanted = list(dict.fromkeys(text for one in texts if (text := " ".join(one.split()))))
    if len(wanted) > MOST_IN_A_BOX:
        raise BadInput(
            gettext("{count} labels at once.", count=len(wanted)),
            gettext("Up to {most}.", most=MOST_IN_A_BOX),
            gettext("Do them in parts."),
            field="labels",
        )
    found: dict[int, StockItem] = {}
    wrong = []
    for text in wanted:
        try:
            one = piece(store, text, pattern)
            found[one.id] = one
        except SourcingError as error:
            wrong.append(error.wrong)
    return list(found.values()), wrong


def known_store(store: Store, name: str) -> str:
    """Return the name of a store as it is spelt in stock.

    Raises
    ------
    NotFound
        Nothing was bought there; the closest name is suggested.
    """
    known = shelf.stores(store)
    plain = {one.casefold(): one for one in known}
    found = plain.get(" ".join(name.split()).casefold())
    if found is not None:
        return found
    near = difflib.get_close_matches(name.casefold(), plain, 1, 0.5)
    raise NotFound(
        gettext("Nothing in stock was bought at “{name}”.", name=name[:60]),
        next_step=gettext("Did you mean “{near}”?", near=plain[near[0]])
        if near
        else gettext("Known: {stores}.", stores=", ".join(known[:20]) or "–"),
    )


def _whole_number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 12 else None


def _numbered(store: Store, number: int) -> tuple[StockItem, ...]:
    try:
        return (shelf.get(store, number),)
    except NotFound:
        return ()


def _named(items: Sequence[StockItem]) -> str:
    """Return pieces by their numbers, with what tells them apart, the first five."""
    named = [f"#{one.id} ({one.label or gettext(one.state)})" for one in items[:5]]
    return ", ".join([*named, "…"] if len(items) > 5 else named)


def _code(text: str) -> str:
    """Return the canonical code that a text is, or "" for none."""
    try:
        code = parse_code(text)
    except BadInput:
        return ""
    return code.gtin or code.style_key
