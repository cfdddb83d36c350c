"""The catalogs hold what the code says, and the pages say nothing else: in German, and in one that marks it all."""

from __future__ import annotations

import gettext as catalogs
import io
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import lxml.html
import pytest
import web_examples
from babel.messages.catalog import Catalog, Message
from flask import Flask
from flask.testing import FlaskClient

import web.spoken
from sourcing import haul, history, language
from sourcing.comps import load_file
from sourcing.language import gettext, spoken
from sourcing.settings import load_settings, save_settings
from sourcing.storage import Store
from web import filters, languages
from web.app import create_app
from web.jobs import Job, Jobs
from web.tasks import Task

HOLE = re.compile(r"%\((\w+)\)s|(?<!\{)\{(\w+)\}(?!\})")
TAG = re.compile(r"<[^>]+>")
# 12.50, 1,000 and 1,234.50; not 1.000, 12.03.2026 and 127.0.0.1, which are German or no numbers.
ENGLISH_NUMBER = re.compile(r"(?<![\w.,:/-])(?:\d+\.\d{1,2}\b(?![.]\d)|\d{1,3}(?:,\d{3})+\b(?:\.\d+)?)")
# A size and cells as files have them; what is typed: “30% then 5.00”.
THEIR_OWN = {"8.5", "12.50", "8.00", "5.00", "2026-01-03", "2026-01-04"}
# A day as files have it, and days in the case that no preposition before a number takes: “nach 120 Tage”.
NO_GERMAN = re.compile(r"\b20\d\d-\d\d-\d\d\b|\b(?:nach|in|seit|vor|von|mit|bei|aus) [\d.,]+\s(?:Tage|Monate|Jahre)\b")
FORM = re.compile(r"\{(?:count|num|number|total|read)\}|%\((?:count|num|number|total|read)\)s")


@pytest.fixture(scope="module")
def template() -> Catalog:
    """Return what the code says."""
    return languages.extracted()


@pytest.fixture(scope="module", params=languages.languages())
def catalog(request: pytest.FixtureRequest) -> Catalog:
    """Return one language's words."""
    return languages.read(request.param)


def said(catalog: Catalog) -> list[Message]:
    return [one for one in catalog if one.id]


def forms(text: str | tuple[str, ...] | list[str] | None) -> list[str]:
    return [text or ""] if isinstance(text, str) or text is None else list(text)


def holes(text: str) -> set[str]:
    return {percent or brace for percent, brace in HOLE.findall(text)}


class TestCatalogs:
    def test_each_holds_what_the_code_says_and_nothing_else(self, catalog: Catalog, template: Catalog) -> None:
        assert {one.id for one in said(catalog)} == {one.id for one in said(template)}, "run `make languages`"
        assert not catalog.obsolete

    def test_german_is_spoken(self) -> None:
        assert "de" in languages.languages()
        assert language.languages() == ("en", *languages.languages())

    def test_nothing_is_left_to_translate(self, catalog: Catalog) -> None:
        assert [one.id for one in said(catalog) if not languages.is_whole(one)] == []
        assert [one.id for one in said(catalog) if one.fuzzy] == []

    def test_what_is_filled_in_has_the_same_names(self, catalog: Catalog) -> None:
        for one in said(catalog):
            source = forms(one.id)
            for translated in forms(one.string):
                # One form of a plural may do without its count: “one row” beside “{count} rows”.
                assert any(holes(text) == holes(translated) for text in source), (one.id, translated)

    def test_markup_is_the_same_and_nothing_breaks_out_of_an_attribute(self, catalog: Catalog) -> None:
        for one in said(catalog):
            for source, translated in zip(forms(one.id), forms(one.string), strict=False):
                assert sorted(TAG.findall(source)) == sorted(TAG.findall(translated)), (source, translated)
                assert TAG.sub("", translated).count('"') <= TAG.sub("", source).count('"'), translated
                assert source.count("%%") == translated.count("%%"), translated

    def test_the_server_and_the_phone_read_what_is_translated(self, catalog: Catalog) -> None:
        name = str(catalog.locale)
        assert languages.po_of(name).with_suffix(".mo").read_bytes() == languages.compiled(catalog), "`make languages`"
        assert (languages.PHONE / f"{name}.json").read_text(encoding="utf-8") == languages.for_phone(catalog)
        found = catalogs.GNUTranslations(io.BytesIO(languages.compiled(catalog)))
        for one in said(catalog):
            if isinstance(one.id, str):
                assert found.gettext(one.id) == one.string
            else:
                assert [found.ngettext(*one.id, count) for count in (1, 2)] == list(forms(one.string))

    def test_the_phone_has_the_words_of_its_scripts_alone(self) -> None:
        words = json.loads((languages.PHONE / "de.json").read_text(encoding="utf-8"))
        assert words["messages"]["Take it."] == "Mitnehmen."
        assert words["plurals"]["{count}\xa0day"] == ["{count}\xa0Tag", "{count}\xa0Tage"]
        assert words["decimal"] == ","
        assert [int(words["forms"][count]) for count in (0, 1, 2, 101, 121)] == [1, 0, 1, 1, 1]  # 101: "n != 1"
        known = words["messages"].keys() | words["plurals"].keys()
        assert known == {forms(one.id)[0] for one in said(languages.read("de")) if of_scripts(one)}


def of_scripts(message: Message) -> bool:
    return any(str(name).startswith("web/static/") for name, _line in message.locations)


class TestExtraction:
    def test_no_text_of_a_script_is_overlooked(self, template: Catalog) -> None:
        """Read the scripts another way than the extraction does: texts in the middle of others are easily missed."""
        known, text = {forms(one.id)[0] for one in said(template)}, r'"(?:[^"\\]|\\.)*"'
        for path in (languages.ROOT / "web" / "static").rglob("*.js"):
            if "vendor" in path.parts or path.name == "language.js":
                continue
            script = path.read_text(encoding="utf-8")
            for call in re.findall(rf"\bn?gettext\(\s*({text}(?:\s*\+\s*{text})*)", script):
                assert "".join(json.loads(part) for part in re.findall(text, call)) in known, (path.name, call)

    def test_sentences_with_markup_are_whole(self, template: Catalog) -> None:
        whole = {one.id for one in said(template)}
        assert (
            'Nothing is chosen yet: tick past checks above, bring a list, or <a href="%(link)s">check an item</a>.'
            in whole
        )
        assert ("%(count)s check", "%(count)s checks") in whole
        assert "80\xa0% not reached" in whole


OPEN, SHUT = "⟦", "⟧"


class Marking(catalogs.NullTranslations):
    """Words of no language: each message as it is in the code, marked."""

    def gettext(self, message: str) -> str:
        return f"{OPEN}{message}{SHUT}"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"{OPEN}{msgid1 if n == 1 else msgid2}{SHUT}"


@pytest.fixture
def marked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let French be a language that marks every message."""
    marking, english = Marking(), language.catalog
    for module in (language, web.spoken):
        monkeypatch.setattr(module, "catalog", lambda name: marking if name == "fr" else english(name))
    monkeypatch.setattr(language, "languages", lambda: ("en", "de", "fr"))


class Told:
    """A store with something on every page, and an application that shows it in a language."""

    def __init__(self, app: Flask, store: Store, locale: str) -> None:
        self.app, self.store = app, store
        save_settings(store, replace(load_settings(store), locale=locale), "a test")
        self.client: FlaskClient = app.test_client()
        codes = [str(code) for (code,) in store.read("SELECT style_code FROM product WHERE style_code != '' LIMIT 5")]
        self.code = codes[0]
        self.client.post("/haul/start", data={"store": "Qwx"})
        for code, price in zip((*codes, "ZZ999-111"), ("3", "900", "", "12,50", "5", "4"), strict=True):
            self.client.post("/check", data={"code": code, "price": price, "flags": "no box", "size": "42"})
        haul.take(store, 1, 2, "one-two-three")
        self.client.post("/comps/load", data={"file": (io.BytesIO(FILE.encode()), "qwx.csv")})
        documented = Path(app.extensions["sourcing"].folder) / "qwx2.csv"
        documented.write_text(DOCUMENTED, encoding="utf-8")
        with language.speaking(language.of_locale(locale)):
            load_file(store, documented)
        self.batch = int(store.read("SELECT max(id) FROM batch")[0][0])
        self.kept = {str(one["speed_basis"]) for one in (history.get(store, number)[1] for number in (1, 2, 3))}

    def pages(self) -> list[str]:
        """Return the address of every page, with an example for what it asks."""
        row = re.search(r'/comps/row\?row=([^"&]+)', self.client.get("/comps/table").text)
        assert row is not None
        item = re.search(r"/comps/item\?item=(\d+)", self.client.get(f"/comps/row?row={row[1]}").text)
        assert item is not None
        token = re.search(r"/comps/file/([\w-]+)", self.client.get("/comps").text)
        assert token is not None
        examples = {
            "/check/<int:check_id>": ["/check/1", "/check/2", "/check/3", "/check/6"],
            "/explain": [f"/explain?code={self.code}&price=5", "/explain?title=Qwx"],
            "/whatif": [f"/whatif?code={self.code}&price=5", f"/whatif?code={self.code}&ask=x"],
            "/run/<int:haul_id>": ["/run/1"],
            "/comps/file/<token>": [f"/comps/file/{token[1]}?match=1"],
            "/comps/batch/<int:batch_id>": [f"/comps/batch/{self.batch}"],
            "/comps/row": [f"/comps/row?row={row[1]}"],
            "/comps/item": [f"/comps/item?item={item[1]}"],
            "/comps/table": ["/comps/table", "/comps/table?query=qwxqwx", "/comps/table?status=sold&within=90"],
            "/ladder": ["/ladder", "/ladder?group=size&rows=200", "/ladder?part=little", "/ladder?discount=x"],
            "/rules/part/<part>": [f"/rules/part/{part}" for part in PARTS],
            "/rules/category": ["/rules/category?name=shoes", "/rules/category?name="],
            "/rules/channel": ["/rules/channel?name=main"],
            "/rules/flag": ["/rules/flag?name=no+box"],
            "/nowhere": ["/nowhere"],
        }
        plain = [
            rule.rule for rule in self.app.url_map.iter_rules() if "GET" in (rule.methods or ()) and not rule.arguments
        ]
        found = [page for page in (*plain, *examples) for page in examples.get(page, [page])]
        return list(dict.fromkeys(page for page in found if page not in NO_PAGES))


PARTS = ("buying", "postage", "work", "selling", "rules", "haul", "general")
# Files, scripts and JSON; and what only another address or an empty store shows.
NO_PAGES = {"/sw.js", "/trust", "/root.crt", "/root.pem", "/rules/settings.toml"}
FILE = "Qwx,Soldfor,Qwx\nQwx 1,12.50,2026-01-03\nQwx 2,qwx,2026-01-04\nQwx 3,8.00,03/04/2026\n"
DOCUMENTED = (
    "style_code,title,status,sold_price,ended_on\nQWX1,Qwx,sold,12.50,2026-01-03\nQWX2,Qwx,sold,11.00,2026-01-04\n"
)


@pytest.fixture
def tell(sampled: Callable[[Path], Store], tmp_path: Path) -> Iterator[Callable[[str], Told]]:
    """Return what makes the application speak as somewhere."""
    store = sampled(tmp_path / "comps.db")
    app = create_app(tmp_path / "comps.db")
    app.config["WTF_CSRF_ENABLED"] = False
    yield lambda locale: Told(app, store, locale)
    app.extensions["sourcing"].store.close()
    store.close()


def shown(text: str) -> Iterator[str]:
    """Yield what of a page's text a person reads that is no data: names, codes and cells are marked as such."""
    page = lxml.html.document_fromstring(text)
    for data in page.xpath(
        "//bdi | //code | //script | //style | //*[contains(@class, 'raw')] | //datalist | //textarea"
    ):
        tail = data.tail or ""
        data.clear()
        data.text, data.tail = " ", tail
    yield re.sub(r"\[\w+(?: \d)?\]", " ", " ".join(page.itertext()))  # fields of a pattern of labels
    for name in ("aria-label", "placeholder", "title", "alt", "data-text"):
        yield from (str(value) for value in page.xpath(f"//@{name}"))


def outside(text: str) -> str:
    """Return what stands outside of marked messages."""
    depth, found = 0, []
    for char in text:
        depth += (char == OPEN) - (char == SHUT)
        if depth == 0 and char != SHUT:
            found.append(char)
    return "".join(found)


def data_of(store: Store) -> set[str]:
    """Return the words of the user's own: of items, settings, files, and those of units and formats."""
    rows = store.read("SELECT style_code, title, brand, category FROM product")
    texts = [str(cell) for row in rows for cell in row]
    texts += [str(cell) for row in store.read("SELECT size, condition, channel FROM comp") for cell in row]
    kept = load_settings(store)
    texts += [*kept.channels, *kept.categories, *kept.flags, *(flag.shown for flag in kept.flags.values())]
    texts += [str(name) for (name,) in store.read("SELECT file_name FROM batch")]
    return {word.lower() for text in texts for word in re.findall(r"[^\W\d_]+", text)} | KNOWN


KNOWN = {
    *(
        "sourcing",
        "qwx",
        "soldfor",
        "usd",
        "eur",
        "en",
        "fr",
        "us",
        "min",
        "kg",
        "km",
        "cm",
        "mm",
        "csv",
        "xlsx",
        "pdf",
    ),
    *("sha", "utf", "qr", "code", "iso", "letter", "roll", "zz"),
}


class TestPages:
    def test_nothing_is_said_but_through_the_catalogs(self, marked: None, tell: Callable[[str], Told]) -> None:
        told = tell("fr_FR")
        known, found = data_of(told.store), {}
        for path in told.pages():
            answer = told.client.get(path)
            if not (answer.content_type or "").startswith("text/html"):
                continue
            for text in shown(answer.text):
                for kept in told.kept:  # what was learnt before stays as it was said
                    text = text.replace(kept, " ")
                words = {word for word in re.findall(r"[^\W\d_]{2,}", outside(text)) if word.lower() not in known}
                if words:
                    found.setdefault(path, set()).update(words)
        assert found == {}

    def test_every_page_speaks_german(self, tell: Callable[[str], Told]) -> None:
        told = tell("de_DE")
        english = {
            str(one.id)
            for one in said(languages.read("de"))
            if isinstance(one.id, str) and one.id != one.string and " " in one.id and not HOLE.search(one.id)
        }
        for path in told.pages():
            answer = told.client.get(path)
            if not (answer.content_type or "").startswith("text/html"):
                continue
            page = lxml.html.document_fromstring(answer.text)
            assert page.get("lang") == "de", path
            left = {text.strip() for text in page.xpath("//main//text()")} & english
            assert not left, (path, left)
            left = {number for text in shown(answer.text) for number in ENGLISH_NUMBER.findall(text)} - THEIR_OWN
            assert not left, (path, left)
            left = {wrong for text in shown(answer.text) for wrong in NO_GERMAN.findall(text)} - THEIR_OWN
            assert not left, (path, left)

    def test_what_was_said_stays_as_it_was_said(self, app: Flask, client: FlaskClient) -> None:
        store = app.extensions["sourcing"].store
        number = history.record(store, web_examples.verdict())
        save_settings(store, replace(load_settings(store), locale="de_DE"), "a test")
        page = lxml.html.document_fromstring(client.get(f"/check/{number}").text)
        assert page.get("lang") == "de"
        assert web_examples.verdict().rests_on in page.xpath("string(//p[@class='rests'])")
        assert page.xpath("string(//*[@class='most']/*[@class='name'])") == "Höchster lohnender Preis"

    def test_a_language_without_words_leaves_the_pages_english(self, app: Flask, client: FlaskClient) -> None:
        store = app.extensions["sourcing"].store
        for locale in ("sv_SE", "en_GB"):
            save_settings(store, replace(load_settings(store), locale=locale), "a test")
            page = lxml.html.document_fromstring(client.get("/nowhere").text)
            assert (page.get("lang"), page.xpath("string(//h1)")) == ("en", "Nothing here")

    def test_values_are_escaped_and_messages_are_not(self, app: Flask) -> None:
        with app.test_request_context(), language.speaking("de"):
            told = app.jinja_env.from_string(
                """{{ _("Undo: %(what)s", what=x) }}{{ _("“{text}” is no day.", text=x) }}"""
                """{{ ngettext("{count} row", "{count} rows", 2) }}"""
                """{% trans address=x %}Scan it, or open <code class="print">{{ address }}</code> on the phone."""
                """{% endtrans %}"""
            ).render(x="<b>{y}%")
        assert "<b>" not in told
        assert told.count("&lt;b&gt;{y}%") == 3
        assert '<code class="print">' in told

    def test_numbers_are_written_as_the_language_does(self) -> None:
        assert (filters.grouped(1234.5, 1), filters.days(1), filters.ordinal(2)) == ("1,234.5", "1\xa0day", "2nd")
        with language.speaking("de"):
            assert (filters.grouped(1234.5, 1), filters.days(1), filters.ordinal(2)) == ("1.234,5", "1\xa0Tag", "2.")
            assert filters.when("2026-03-01") == "1.\xa0März 2026"


class TestThreads:
    """Work in the background speaks the language of who asked for it."""

    def test_a_task(self) -> None:
        heard: list[str] = []
        with language.speaking("de"):
            task = Task()
            task.start(lambda say: heard.append(gettext("Take it.")))
        while task.running:
            pass
        assert heard == ["Mitnehmen."]
        assert spoken() == "en"

    def test_a_job(self) -> None:
        def work(_job: Job) -> str:
            return gettext("Take it.")

        with language.speaking("de"):
            job = Jobs().ask("one", "load", "token", "name", work)
        assert job.wait(10)
        assert job.outcome() == "Mitnehmen."
