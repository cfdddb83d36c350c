"""Words for people go through the catalogs: English where there is none, names and plurals filled in, one a thread."""

from __future__ import annotations

import ast
import gettext as catalogs
import io
import struct
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

import sourcing
from sourcing import language
from sourcing.language import gettext, gettext_noop, ngettext, of_locale, speaking, spoken

ROOM = Path(sourcing.__file__).parent
ERRORS = {"BadInput", "Refused", "NotFound", "Busy", "Stopped", "NoRoom", "SourcingError"}
SAID = {"gettext", "ngettext"}
# What carries no words: the parts of a text that is nothing for people.
ALLOWED: dict[str, str] = {}


def made(words: dict[str, str]) -> catalogs.GNUTranslations:
    """Return a catalog of invented words, in the file format of GNU gettext (source: gettext manual, section 10.3)."""
    words = {"": "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=2; plural=(n != 1);\n"} | words
    keys = sorted(words, key=str.encode)
    pairs = [(key.encode(), words[key].encode()) for key in keys]
    start, body, tables = 28 + 16 * len(pairs), b"", ([], [])
    for column, table in enumerate(tables):
        for pair in pairs:
            table.append(struct.pack("<2I", len(pair[column]), start + len(body)))
            body += pair[column] + b"\0"
    head = struct.pack("<7I", 0x950412DE, 0, len(pairs), 28, 28 + 8 * len(pairs), 0, 0)
    return catalogs.GNUTranslations(io.BytesIO(head + b"".join(tables[0] + tables[1]) + body))


@pytest.fixture
def invented(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Speak an invented language, “qq”, that knows three messages."""
    found = made(
        {
            "Take none.": "Nimm nix.",
            "Up to {most}.": "Bis {most}.",
            "{count} row\0{count} rows": "{count} Reihe\0{count} Reihen",
        }
    )
    english = language.catalog
    monkeypatch.setattr(language, "catalog", lambda name: found if name == "qq" else english(name))
    with speaking("qq"):
        yield "qq"


class TestWords:
    def test_english_is_what_stands_in_the_code(self) -> None:
        assert spoken() == "en"
        assert gettext("Take none.") == "Take none."
        assert language.catalog("xx").gettext("Take none.") == "Take none."
        with speaking("xx"):  # of which there are no words
            assert gettext("Up to {most}.", most=3) == "Up to 3."
            assert ngettext("{count} row", "{count} rows", 2) == "2 rows"

    @pytest.mark.parametrize(("count", "said"), [(0, "0 rows"), (1, "1 row"), (2, "2 rows"), (21, "21 rows")])
    def test_the_count_chooses_the_form(self, count: int, said: str) -> None:
        assert ngettext("{count} row", "{count} rows", count) == said

    def test_names_are_filled_in(self) -> None:
        assert gettext("From {low} to {high}.", low="1.00", high=2) == "From 1.00 to 2."
        assert ngettext("{count} of {name}", "{count} of {name}", 3, name="mugs") == "3 of mugs"

    def test_braces_stay_where_there_are_no_values(self) -> None:
        assert gettext("Write [[0, {x}]] or {}.") == "Write [[0, {x}]] or {}."
        assert gettext("") == ""

    def test_what_stands_for_a_name_is_not_read_again(self) -> None:
        assert gettext("“{text}” is no code.", text="{evil} {0.__class__}") == "“{evil} {0.__class__}” is no code."

    def test_a_marked_message_is_itself(self) -> None:
        assert gettext_noop("{share} of the cells") == "{share} of the cells"

    def test_another_language_has_its_own_words_and_english_where_it_has_none(self, invented: str) -> None:
        assert gettext("Take none.") == "Nimm nix."
        assert gettext("Up to {most}.", most=3) == "Bis 3."
        assert [ngettext("{count} row", "{count} rows", count) for count in (1, 2)] == ["1 Reihe", "2 Reihen"]
        assert gettext("No such word.") == "No such word."

    def test_of_a_locale_without_words_english_is_spoken(self) -> None:
        assert of_locale("xx_YY") == "en"
        assert of_locale("en_GB") == "en"
        assert language.languages()[0] == "en"


class TestEnvironment:
    """As GNU gettext reads it (manual, section 2.3: LANGUAGE before the locale of messages, and not at all in C)."""

    @pytest.mark.parametrize(
        ("environment", "said"),
        [
            ({}, "en"),
            ({"LANG": "C"}, "en"),
            ({"LANG": "C.UTF-8", "LANGUAGE": "de"}, "en"),
            ({"LANGUAGE": "de"}, "en"),
            ({"LANG": "POSIX"}, "en"),
            ({"LANG": "de_DE.UTF-8"}, "de"),
            ({"LANG": "de_AT@euro"}, "de"),
            ({"LANG": "de"}, "de"),
            ({"LANG": "den_XX"}, "en"),
            ({"LANG": "xx_YY.UTF-8"}, "en"),
            ({"LANG": "de_DE.UTF-8", "LC_MESSAGES": "en_GB.UTF-8"}, "en"),
            ({"LANG": "en_US.UTF-8", "LC_MESSAGES": "de_DE.UTF-8"}, "de"),
            ({"LANG": "en_US.UTF-8", "LC_MESSAGES": "en_US.UTF-8", "LC_ALL": "de_DE.UTF-8"}, "de"),
            ({"LANG": "de_DE.UTF-8", "LC_ALL": ""}, "de"),
            ({"LANG": "en_US.UTF-8", "LANGUAGE": "de"}, "de"),
            ({"LANG": "de_DE.UTF-8", "LANGUAGE": "xx:en:de"}, "en"),
            ({"LANG": "de_DE.UTF-8", "LANGUAGE": "xx"}, "de"),
        ],
    )
    def test_it_says_what_is_spoken(self, environment: dict[str, str], said: str) -> None:
        assert language.of_environment(environment) == said


class TestSpeaking:
    def test_it_is_kept_by_thread_and_restored(self) -> None:
        seen: list[str] = []
        with speaking("qq"):
            thread = threading.Thread(target=lambda: seen.append(spoken()))
            thread.start()
            thread.join()
            assert spoken() == "qq"
            with speaking("zz"):
                assert spoken() == "zz"
            assert spoken() == "qq"
        assert spoken() == "en"
        assert seen == ["en"]  # a thread of its own begins anew

    def test_an_error_restores_it_too(self) -> None:
        with pytest.raises(ValueError, match="invented"), speaking("qq"):
            raise ValueError("invented")
        assert spoken() == "en"


class TestKeptWords:
    """What is kept between two questions is not said in the language of the first."""

    def test_a_receipt(self, monkeypatch: pytest.MonkeyPatch) -> None:
        from decimal import Decimal

        from sourcing.terms import Terms

        terms, english = Terms(), language.catalog
        found = made({"Buyer pays": "Käufer zahlt"})
        monkeypatch.setattr(language, "catalog", lambda name: found if name == "qq" else english(name))
        assert terms.receipt(Decimal(20))[0].label == "Buyer pays"
        with speaking("qq"):
            assert terms.receipt(Decimal(20))[0].label == "Käufer zahlt"
        assert terms.receipt(Decimal(20))[0].label == "Buyer pays"


def calls(tree: ast.AST, names: set[str]) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            if name in names:
                yield node


def bare(node: ast.expr) -> bool:
    """Tell a text written in the code that is not looked up: letters outside of any call of gettext."""
    if isinstance(node, ast.IfExp):
        return bare(node.body) or bare(node.orelse)
    if isinstance(node, ast.BinOp):
        return bare(node.left) or bare(node.right)
    if isinstance(node, ast.JoinedStr):
        return any(bare(part) for part in node.values)
    return isinstance(node, ast.Constant) and isinstance(node.value, str) and any(map(str.isalpha, node.value))


MODULES = sorted(
    path
    for room in (ROOM, ROOM.parent / "web" / "commands")
    for path in room.rglob("*.py")
    if "migrations" not in path.parts
)


def test_every_error_is_said_through_the_catalogs() -> None:
    found = []
    for path in MODULES:
        for call in calls(ast.parse(path.read_text()), ERRORS):
            parts = [*call.args, *(word.value for word in call.keywords if word.arg != "field")]
            where = f"{path.relative_to(ROOM.parent)}:{call.lineno}"
            found += [f"{where} {ast.unparse(part)}" for part in parts if bare(part)]
    assert [one for one in found if one.split(":")[0] not in ALLOWED] == []


def test_what_is_looked_up_is_a_literal_or_was_marked() -> None:
    """A message put together cannot be in a catalog; a name stands for one that gettext_noop marked."""
    found = []
    for path in MODULES:
        if path.name == "language.py":
            continue
        for call in calls(ast.parse(path.read_text()), SAID):
            literals = call.args[: 2 if isinstance(call.func, ast.Name) and call.func.id == "ngettext" else 1]
            for message in literals:
                if isinstance(message, ast.JoinedStr | ast.BinOp) or any(
                    isinstance(part, ast.JoinedStr) for part in ast.walk(message)
                ):
                    found.append(f"{path.relative_to(ROOM.parent)}:{call.lineno} {ast.unparse(message)}")
    assert found == []


def test_the_names_of_a_message_are_those_it_is_given() -> None:
    found = []
    for path in MODULES:
        for call in calls(ast.parse(path.read_text()), SAID):
            if not call.args or any(word.arg is None for word in call.keywords):
                continue
            given = {str(word.arg) for word in call.keywords}
            plural = isinstance(call.func, ast.Name) and call.func.id == "ngettext"
            for message in call.args[: 2 if plural else 1]:
                if isinstance(message, ast.Constant) and (given or plural):
                    asked = names_in(str(message.value))
                    if not asked <= given | ({"count"} if plural else set()) or (not plural and asked != given):
                        found.append(f"{path.relative_to(ROOM.parent)}:{call.lineno} {message.value!r} {sorted(given)}")
    assert found == []


def names_in(message: str) -> set[str]:
    from string import Formatter

    return {name for _, name, _, _ in Formatter().parse(message) if name is not None}
