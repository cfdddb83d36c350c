"""Say how a file in a shape of its own is to be read: by options, or by answering on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sourcing.errors import BadInput
from sourcing.language import gettext
from web.commands.frame import failed, say

if TYPE_CHECKING:
    from sourcing.comps.incoming import Look
    from sourcing.comps.layout import Layout
    from sourcing.comps.meaning.questions import Question
    from sourcing.storage import Store

Pairs = Sequence[tuple[str, str]]


@dataclass(frozen=True)
class Said:
    """What the options say of how files are to be read.

    Attributes
    ----------
    columns, every, answers : pairs of a column's name and field, a field and its value, a question's id and its answer.
    inside : fields to be taken out of a longer text.
    as_read : take what was understood without asking.
    """

    member: str = ""
    encoding: str = ""
    sheet: str = ""
    columns: Pairs = ()
    every: Pairs = ()
    inside: Sequence[str] = ()
    answers: Pairs = ()
    as_read: bool = False

    @property
    def anything(self) -> bool:
        """Whether a file is to be read in another way than it would be."""
        return any((self.member, self.encoding, self.sheet, self.columns, self.every, self.inside, self.answers))


class Unsettled(Exception):
    """The file waits for the user's word, which was told what is missing."""


def pair(_ctx: click.Context, option: click.Parameter, given: Sequence[str]) -> Pairs:
    """Read ``NAME=VALUE`` as often as it is given; the last “=” parts the two."""
    found = []
    for text in given:
        name, sign, value = text.rpartition("=")
        if not sign or not name.strip():
            raise click.BadParameter(gettext("“{text}” is not NAME=VALUE.", text=text), param=option)
        found.append((name.strip(), value.strip()))
    return found


def settle(store: Store, path: Path, said: Said) -> Look:
    """Return the last look at a file, which is how it is to be loaded.

    Raises
    ------
    Unsettled
        Something only the user can say is missing, and there is no terminal to ask on.
    BadInput
        An option names a column, a field or an answer that does not exist.
    """
    from sourcing.comps.incoming import look
    from sourcing.comps.incoming import say as put

    picked: dict[str, Any] = {"member": said.member, "encoding": said.encoding, "sheet": said.sheet}
    seen = look(store, path, path.name, **picked)
    while seen.sniffed.asks:
        picked[seen.sniffed.asks] = _pick(seen)
        seen = look(store, path, path.name, **picked)
    if said.columns or said.every or said.inside or said.answers:
        offered = {use.field: use for use in seen.offers}
        unknown = [name for name in said.inside if name not in offered]
        if unknown:
            raise BadInput(
                gettext("No text of the file holds a {field}.", field=unknown[0]),
                gettext("One of: {fields}.", fields=", ".join(offered) or gettext("nothing")),
            )
        named = put(
            seen,
            columns={_place(seen, name): _field(field) for name, field in said.columns} or None,
            fixed=dict(said.every) or None,
            extracts=[offered[name] for name in said.inside] if said.inside else None,
        )
        seen = look(store, path, path.name, **picked, layout=named)
        seen = look(store, path, path.name, **picked, layout=put(seen, answers=dict(said.answers)))
    elif seen.one_tap:
        return seen
    if said.as_read and seen.ready:
        return seen
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        if seen.ready and said.anything:
            return seen
        _tell(seen, say)
        _tell_next(path, seen)
        raise Unsettled
    while True:
        _tell(seen, say)
        layout: Layout | None
        if seen.questions:
            layout = put(seen, answers={seen.questions[0].id: _ask(seen.questions[0])})
        else:
            asked = gettext("Load it like this? yes, no, or a change like Column=field")
            word = click.prompt(asked, default=gettext("yes"), err=True)
            if word.strip().lower() in ("y", "yes", gettext("yes")):
                return seen
            if word.strip().lower() in ("n", "no", gettext("no")):
                raise Unsettled
            layout = _change(seen, word)
        seen = look(store, path, path.name, **picked, layout=layout)


def _change(seen: Look, word: str) -> Layout | None:
    from sourcing.comps.incoming import say as put

    name, sign, value = word.rpartition("=")
    try:
        if not sign:
            raise BadInput(
                gettext("“{text}” is no change.", text=word[:60]),
                gettext("Column=field, or field=value for all rows."),
            )
        if name.strip() in _fields() and name.strip() not in {column.name for column in seen.columns}:
            return put(seen, fixed={name.strip(): value.strip()})
        return put(seen, columns={_place(seen, name.strip()): _field(value)})
    except BadInput as error:
        say(failed(error))
        return seen.layout


def _fields() -> tuple[str, ...]:
    from sourcing.comps.columns import NAMES

    return NAMES


def _field(text: str) -> str:
    """Read a field as typed: spaces for underscores will do, a dash leaves the column out."""
    plain = text.strip().lower().replace(" ", "_")
    return "" if plain in ("-", "nothing", "") else plain


def _place(seen: Look, name: str) -> int:
    folded = name.casefold()
    for column in seen.columns:
        if column.name.casefold() == folded or (name.isascii() and name.isdigit() and column.place == int(name) - 1):
            return column.place
    names = ", ".join(column.name for column in seen.columns)
    raise BadInput(
        gettext("The file has no column “{name}”.", name=name[:60]),
        gettext("One of {names}; or its number.", names=names),
    )


def _pick(seen: Look) -> str:
    """Ask which file of an archive, or which encoding."""
    sniffed = seen.sniffed
    shown: list[tuple[str, str]]
    if sniffed.asks == "member":
        shown = [(name, name) for name in sniffed.members]
    else:
        shown = [(one.encoding, f"{one.name}: {'; '.join(one.rows[:2])[:120]}") for one in sniffed.candidates]
    say(sniffed.wrong)
    for number, (_, words) in enumerate(shown, 1):
        say(f"  {number}  {words}")
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        option = f"--{sniffed.asks} {shown[0][0] if shown else '...'}"
        say(gettext("Nothing was loaded: pick one with {option}", option=option))
        raise Unsettled
    return shown[_number(len(shown)) - 1][0]


def _ask(question: Question) -> str:
    say("")
    say(question.text)
    for number, choice in enumerate(question.choices, 1):
        rows = ", ".join(f"{cell.strip()[:30]} -> {read[:30]}" for cell, read in choice.rows)
        say(f"  {number}  {choice.text}" + (f"   ({rows})" if rows else ""))
    return question.choices[_number(len(question.choices)) - 1].value


def _number(most: int) -> int:
    number: int = click.prompt(gettext("Which"), type=click.IntRange(1, most), err=True)
    return number


def _tell(seen: Look, tell: Callable[[str], None]) -> None:
    """Show how the columns were understood."""
    for note in seen.sniffed.notes:
        tell(note)
    wide = min(24, max((len(column.name) for column in seen.columns), default=0))
    for column in seen.columns:
        cells = " | ".join(column.examples[:2])[:40]
        guess = column.guess
        why = f"{_sure(guess.confidence)}: {guess.reason}" if guess and column.field else ""
        tell(f"  {column.name[:24]:{wide}}  {column.field or '-':16}  {cells:40}  {why[:100]}".rstrip())
    layout = seen.layout
    for name, text in (layout.fixed if layout else {}).items():
        tell("  " + gettext("every row: {field} {value}", field=name, value=text))
    for use in layout.uses if layout else ():
        if use.extract:
            text = layout.header[use.column] if layout else ""
            tell("  " + gettext("{field} is taken out of “{column}”", field=use.field, column=text))


def _sure(confidence: float) -> str:
    return gettext("sure") if confidence >= 0.8 else gettext("likely") if confidence >= 0.6 else gettext("perhaps")


def _tell_next(path: Path, seen: Look) -> None:
    """Say which options would settle it."""
    for use in seen.offers:
        cell, found = seen.examples[use.field][0] if seen.examples.get(use.field) else ("", "")
        option, told = f"--inside {use.field}", {"cell": cell[:40], "found": found}
        say("  " + gettext("{option} would take it out of the text: “{cell}” holds {found}", option=option, **told))
    for question in seen.questions:
        say(gettext("Open: {question}", question=question.text))
        for choice in question.choices:
            say(f'  --answer "{question.id}={choice.value}"  {choice.text}')
    nothing = gettext("Nothing of {file} was loaded.", file=path.name)
    correct = gettext("Correct a column with --column NAME=FIELD (- leaves it out).")
    every = gettext("Give all rows a value with --every FIELD=VALUE.")
    settled = "" if seen.questions else gettext("Or take it as it was read with --as-read.")
    say(" ".join(filter(None, (nothing, correct, every, settled))))


def as_dict(seen: Look) -> dict[str, Any]:
    """Return a look as a JSON-able mapping."""
    guesses: list[Mapping[str, Any]] = [
        {
            "column": column.name,
            "field": column.field,
            "confidence": column.guess.confidence if column.guess and column.field else None,
            "reason": column.guess.reason if column.guess and column.field else "",
            "examples": list(column.examples),
        }
        for column in seen.columns
    ]
    questions = [
        {"id": one.id, "text": one.text, "choices": [{"value": c.value, "text": c.text} for c in one.choices]}
        for one in seen.questions
    ]
    return {"origin": seen.origin, "columns": guesses, "questions": questions, "notes": list(seen.sniffed.notes)}
