"""Bring the catalogs of `sourcing/languages` up to the code: `make languages`; to begin one, `make languages NEW=fr`.

Every message of the code goes into every catalog, those no longer said go out, and each is written thrice: as people
translate it (.po), as the server reads it (.mo), and what the scripts say as a phone reads it (.json). The help of the
commands is not marked in the code: it is taken from the commands, and click's own words from click.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from copy import copy
from pathlib import Path
from typing import Any

import click
from babel.core import Locale
from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir, extract_from_file
from babel.messages.frontend import parse_mapping_cfg
from babel.messages.mofile import write_mo
from babel.messages.plurals import get_plural
from babel.messages.pofile import read_po, write_po

from sourcing.language import DOMAIN, separated, speaking
from web.cli import main as commands
from web.commands.words import texts

ROOT = Path(__file__).parent.parent
CATALOGS = ROOT / "sourcing" / "languages"
PHONE = ROOT / "web" / "static" / "languages"
# What of click speaks to whoever runs a command: help, and errors of what was typed.
CLICK = ("core", "decorators", "exceptions", "formatting", "parser", "types")
KEYWORDS = {"gettext": None, "gettext_noop": None, "_": None, "ngettext": (1, 2)}


def extracted() -> Catalog:
    """Return every message of the code, the templates, the scripts and the commands, with the files that say it."""
    with (ROOT / "babel.cfg").open(encoding="utf-8") as file:
        methods, options = parse_mapping_cfg(file, "babel.cfg")  # type: ignore[no-untyped-call]
    found = Catalog(fuzzy=False)
    for package in ("sourcing", "web"):
        for name, _line, message, _comments, _context in extract_from_dir(
            str(ROOT), methods, options, KEYWORDS, directory_filter=_within(package)
        ):
            if isinstance(message, tuple) or message.strip():
                found.add(message, locations=[(Path(name).as_posix(), 1)])
    for module, text in texts(commands):
        found.add(text, locations=[(f"{module.replace('.', '/')}.py", 1)])
    for name, message in _of_click():
        found.add(message, locations=[(name, 1)])
    return found


def _of_click() -> Iterator[tuple[str, str | tuple[str, ...]]]:
    """Yield what click itself says, with its module."""
    for module in CLICK:
        path = Path(click.__file__).with_name(f"{module}.py")
        for _line, message, _comments, _context in extract_from_file("python", path, KEYWORDS):
            yield f"click/{module}.py", message


def _within(package: str) -> Any:
    return lambda path: package in Path(path).relative_to(ROOT).parts[:1] and not Path(path).name.startswith(("_", "."))


def languages() -> list[str]:
    """Return the languages there is a catalog of, English aside."""
    return sorted(path.parent.parent.name for path in CATALOGS.glob(f"*/LC_MESSAGES/{DOMAIN}.po"))


def po_of(language: str) -> Path:
    """Return where a language's words are translated."""
    return CATALOGS / language / "LC_MESSAGES" / f"{DOMAIN}.po"


def read(language: str) -> Catalog:
    """Return a language's catalog as it stands."""
    with po_of(language).open("rb") as file:
        return read_po(file, locale=language, domain=DOMAIN)


def compiled(catalog: Catalog) -> bytes:
    """Return a catalog as the server reads it; what is not translated is left out, so that it is said in English."""
    file, whole = io.BytesIO(), copy(catalog)
    whole._messages = {key: one for key, one in catalog._messages.items() if is_whole(one)}
    write_mo(file, whole)
    return file.getvalue()


def for_phone(catalog: Catalog) -> str:
    """Return what the scripts say, as JSON: messages, those by count, which form a count takes, two marks."""
    said = [one for one in catalog if one.id and is_whole(one) and _scripts_say(one)]
    form = get_plural(str(catalog.locale)).plural_expr
    with speaking(str(catalog.locale)):
        percent = separated("%")  # as the server writes it
    words: dict[str, Any] = {
        "decimal": Locale.parse(str(catalog.locale)).number_symbols["latn"]["decimal"],
        "percent": percent,
        "forms": "".join(str(_form(form, count)) for count in range(200)),
        "messages": {one.id: one.string for one in said if isinstance(one.id, str)},
        "plurals": {one.id[0]: one.string for one in said if isinstance(one.id, tuple)},
    }
    return json.dumps(words, ensure_ascii=False, indent=0, sort_keys=True) + "\n"


def _scripts_say(message: Message) -> bool:
    return any(str(name).startswith("web/static/") for name, _line in message.locations)


def _form(expression: str, count: int) -> int:
    """Return which plural form a count takes, by the C expression that catalogs state it in."""
    from gettext import c2py

    return int(c2py(expression)(count))


def write(language: str, catalog: Catalog) -> None:
    """Write a catalog in its three forms."""
    po_of(language).parent.mkdir(parents=True, exist_ok=True)
    PHONE.mkdir(exist_ok=True)
    with po_of(language).open("wb") as file:
        write_po(file, catalog, width=120, sort_by_file=True, include_lineno=False)
    po_of(language).with_suffix(".mo").write_bytes(compiled(catalog))
    (PHONE / f"{language}.json").write_text(for_phone(catalog), encoding="utf-8")


def main() -> None:
    """Bring every catalog up to the code, and begin those named."""
    template = extracted()
    for language in sorted({*languages(), *sys.argv[1:]}):
        catalog = (
            read(language) if po_of(language).exists() else Catalog(language, DOMAIN, project="sourcing", fuzzy=False)
        )
        catalog.update(template, no_fuzzy_matching=True, update_creation_date=False)
        catalog.obsolete.clear()
        write(language, catalog)
        left = sum(1 for one in catalog if one.id and not is_whole(one))
        print(f"{language}: {len(catalog)} messages, {left} to translate in {po_of(language).relative_to(ROOT)}")


def is_whole(message: Message) -> bool:
    """Say whether a message is translated, in each of its forms."""
    return all(message.string) if isinstance(message.string, tuple) else bool(message.string)


if __name__ == "__main__":
    main()
