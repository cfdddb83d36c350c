"""The language of a request, and the words of its pages: the one place where templates meet ``sourcing.language``."""

from __future__ import annotations

from flask import Flask, request
from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from sourcing.language import catalog, gettext, gettext_noop, of_locale, spoken, use
from web.state import settings, store

# Words of the code that pages show: said where they are shown, compared as they are.
KEYS = (
    gettext_noop("buy"), gettext_noop("pass"), gettext_noop("too little to go on"),
    gettext_noop("sold"), gettext_noop("open"), gettext_noop("ended unsold"),
    gettext_noop("clean"), gettext_noop("photograph"), gettext_noop("list"), gettext_noop("pack"),
)  # fmt: skip


def add_language(app: Flask) -> None:
    """Give templates ``_()``, ``ngettext()`` and ``{% trans %}``; messages are markup, what fills them in is not."""
    environment = app.jinja_env
    environment.policies["ext.i18n.trimmed"] = True
    environment.add_extension("jinja2.ext.i18n")
    environment.install_gettext_callables(gettext, _plural, newstyle=True)  # type: ignore[attr-defined]
    environment.globals.update(_=_message, gettext=_message, ngettext=_counted)
    app.add_template_filter(said)
    app.context_processor(lambda: {"language": spoken})


def speak() -> None:
    """Speak the language of the settings to whoever asks; English where they cannot be read, which its page says."""
    from sourcing.settings import load_settings

    if request.endpoint == "static":
        return
    use("en")
    # Where nothing is changed, the view finds them read; elsewhere it may change them before it reads them.
    use(of_locale((settings() if request.method == "GET" else load_settings(store())).locale))


def said(key: str) -> str:
    """Return a key, a decision or another word of the code, as a person is told it.

    The word has been marked for translation where it is defined, by ``gettext_noop``.
    """
    return gettext(str(key)) if key else ""


@pass_context
def _message(context: Context, message: str, /, **values: object) -> str:
    """Return a message filled in: as in the code, by ``{names}``, or as ``{% trans %}`` has it, by ``%(names)s``."""
    return _filled(context, gettext(message), values)


@pass_context
def _counted(context: Context, one: str, many: str, count: int, /, **values: object) -> str:
    """Return the form of a message that a count takes, filled in; the count itself is ``count`` and ``num``."""
    return _filled(context, _plural(one, many, count), {"count": count, "num": count} | values)


def _filled(context: Context, words: str, values: dict[str, object]) -> str:
    if context.eval_ctx.autoescape:
        words = Markup(words)  # noqa: S704, a message is the code's own or the catalog's; values are escaped
    if not values:
        return words.replace("%%", "%")
    return words % values if "%(" in words else words.replace("%%", "%").format(**values)


def _plural(one: str, many: str, count: int) -> str:
    """Return the form of a message that a count takes."""
    return catalog(spoken()).ngettext(one, many, count)
