"""The language a person is spoken to in: the words of GNU gettext's catalogs, English where there is none.

What is said is chosen where it is said, so the language of the moment is kept by thread and request. Words that are
kept or compared (decisions, rules, fields) are not words for people, and stay as they are.
"""

from __future__ import annotations

import gettext as catalogs
import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path

DOMAIN = "sourcing"
PERCENT = "\N{NO-BREAK SPACE}%"  # in English, as the SI brochure has it (9th edition, 5.4.7): a space before the sign
_spoken: ContextVar[str] = ContextVar("spoken", default="en")


@lru_cache
def languages() -> tuple[str, ...]:
    """Return the languages there are words in, English first (ISO 639-1)."""
    found = sorted(path.parent.parent.name for path in folder().glob(f"*/LC_MESSAGES/{DOMAIN}.mo"))
    return ("en", *found)


@lru_cache
def catalog(language: str) -> catalogs.NullTranslations:
    """Return the words of a language; of English, and of one there is none of, those that are in the code."""
    if language == "en":
        return catalogs.NullTranslations()
    return catalogs.translation(DOMAIN, folder(), [language], fallback=True)


def folder() -> Path:
    """Return the folder of the catalogs."""
    return Path(__file__).with_name("languages")


def of_locale(locale: str) -> str:
    """Return the language spoken to somebody whose amounts are written as in this locale."""
    language = _language(locale)
    return language if language in languages() else "en"


def of_environment(environment: Mapping[str, str] = os.environ) -> str:
    """Return the language that a process is asked to speak, as GNU gettext reads its environment.

    The locale of messages is the first that is set of ``LC_ALL``, ``LC_MESSAGES`` and ``LANG``; none, ``C`` and
    ``POSIX`` mean English. In any other the first language of ``LANGUAGE``, a list parted by colons, goes before it.
    """
    locale = next((environment[name] for name in ("LC_ALL", "LC_MESSAGES", "LANG") if environment.get(name)), "C")
    if _language(locale) in ("c", "posix"):
        return "en"
    for one in (*environment.get("LANGUAGE", "").split(":"), locale):
        language = _language(one)
        if language == "en" or (language and language in languages()):
            return language
    return "en"


def _language(locale: str) -> str:
    """Return the language of a locale such as de_DE.UTF-8@euro."""
    return re.split("[_.@-]", locale)[0].lower()


def use(language: str) -> None:
    """Speak this language from here on, in this thread or request."""
    _spoken.set(language)


def spoken() -> str:
    """Return the language that is spoken now."""
    return _spoken.get()


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Speak another language for a while."""
    before = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(before)


def gettext(message: str, /, **values: object) -> str:
    """Return a message in the language of the moment, its ``{names}`` filled in.

    Parameters
    ----------
    message : str
        The English message, a literal: what is computed cannot be looked up.
    **values
        What stands for the names in it; without any the braces of the message stay.
    """
    said = catalog(_spoken.get()).gettext(message) if message else ""  # the empty message is the catalog's own head
    return said.format(**values) if values else said


def ngettext(one: str, many: str, count: int, /, **values: object) -> str:
    """Return a message that depends on a count, which fills in ``{count}``."""
    return catalog(_spoken.get()).ngettext(one, many, count).format(count=count, **values)


def gettext_noop(message: str) -> str:
    """Mark a message that is said later, by ``gettext``."""
    return message


def separated(number: str) -> str:
    """Return a number as the language of the moment writes it; before a ``%`` stands a space that does not break.

    Parameters
    ----------
    number : str
        With a comma between thousands, a point before decimals and, at most, a ``%`` at its end: what the code writes.
    """
    language = _spoken.get()
    if language == "en":
        return number[:-1] + PERCENT if number.endswith("%") else number
    group, point, percent = _marks(language)
    if number.endswith("%"):
        number = number[:-1] + percent
    return number.translate({ord(","): group, ord("."): point})


@lru_cache
def _marks(language: str) -> tuple[str, str, str]:
    """Return a language's marks between thousands and before decimals and of a percentage (Unicode CLDR)."""
    from babel.core import Locale, UnknownLocaleError

    try:
        known = Locale.parse(language)
    except UnknownLocaleError:  # of a catalog that CLDR has no numbers for
        return ",", ".", PERCENT
    marks = known.number_symbols["latn"]
    return marks["group"], marks["decimal"], str(known.percent_formats[None].suffix[0])
