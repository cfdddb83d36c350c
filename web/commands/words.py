"""What commands say of themselves, in the language of the moment: their help and the words that click puts around it.

A command states its help in English, as click has it; nothing is marked there. ``texts`` finds all of it for the
catalogs, and ``Command`` looks it up when it is shown. Click asks Python's own gettext for its words, by the domain and
the language of the process, which ``speak`` sets.
"""

from __future__ import annotations

import gettext as catalogs
import inspect
import os
from collections.abc import Iterator
from copy import copy
from typing import TypeVar

import click

from sourcing.language import DOMAIN, folder, gettext, gettext_noop, spoken, use

EXAMPLE = gettext_noop("Example:")
HELP = "Show this message and exit."  # click's
REQUIRED = gettext_noop("required")  # click looks it up by a name, so that no extraction finds it
_AS_IT_IS = "\b"  # click's mark of a paragraph that is not wrapped

_Asked = TypeVar("_Asked", bound=click.Parameter)


class Command(click.Command):
    """A command whose help is shown in the language of the moment."""

    def get_help_option(self, ctx: click.Context) -> click.Option | None:
        """Return ``--help``, which click makes once and keeps, whatever is spoken later."""
        option = super().get_help_option(ctx)
        if option is not None:
            option.help = gettext(HELP)
        return option

    def get_short_help_str(self, limit: int = 45) -> str:
        """Return the first sentence of the help."""
        return super(Command, self._said()).get_short_help_str(limit)

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the help."""
        super(Command, self._said()).format_help(ctx, formatter)

    def _said(self) -> Command:
        """Return this command with its help translated; in English, itself."""
        if spoken() == "en":
            return self
        said = copy(self)
        said.help = translated(self.help) if self.help else self.help
        said.params = [_said(param) for param in self.params]
        return said


class Group(Command, click.Group):
    """A group of such commands."""

    command_class = Command


Group.group_class = Group


def _said(param: _Asked) -> _Asked:
    """Return an option or argument with its help translated."""
    said = copy(param)
    if isinstance(said, click.Option) and said.help:
        said.help = gettext(said.help)
    return said


def paragraphs(text: str) -> Iterator[tuple[str, bool]]:
    """Yield each paragraph of a help text, and whether it holds examples, which are not wrapped and not translated."""
    for paragraph in inspect.cleandoc(text).split("\n\n"):
        examples = paragraph.startswith((_AS_IT_IS, EXAMPLE))
        yield (paragraph if examples else " ".join(paragraph.split())), examples


def translated(text: str) -> str:
    """Return a help text in the language of the moment; examples, which are typed, keep all but the word for them."""
    return "\n\n".join(
        paragraph.replace(EXAMPLE, gettext(EXAMPLE)) if examples else gettext(paragraph)
        for paragraph, examples in paragraphs(text)
    )


def texts(command: click.Command) -> Iterator[tuple[str, str]]:
    """Yield every text that a command and those below it say in their help, each with the module that states it."""
    module = getattr(command.callback, "__module__", "")
    yield from ((module, text) for text, examples in paragraphs(command.help or "") if text and not examples)
    yield from ((module, param.help) for param in command.params if isinstance(param, click.Option) and param.help)
    if isinstance(command, click.Group):
        for below in command.commands.values():
            yield from texts(below)


def speak(language: str) -> None:
    """Speak this language from here on, and let click do so too.

    Python's gettext, as GNU's, takes the language of a process from ``LANGUAGE``; to set it is how a program changes
    its own (GNU gettext manual, "Being a gettext grok"). English is what click says without, so that speaking it takes
    no time.
    """
    use(language)
    if language != "en" or catalogs.textdomain() == DOMAIN:
        catalogs.bindtextdomain(DOMAIN, str(folder()))
        catalogs.textdomain(DOMAIN)
        os.environ["LANGUAGE"] = language
