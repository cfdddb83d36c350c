"""The one table of routes. Views are imported at their first request (Flask's "Lazily Loading Views")."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from importlib import import_module
from typing import Any, NamedTuple

from flask import Flask, Response, request
from werkzeug.routing import IntegerConverter, ValidationError

from web.state import current

KIB = 1024
SMALL = 256 * KIB
PHOTO = 25 * KIB * KIB
FILE = 110 * KIB * KIB
SETTINGS = 2 * KIB * KIB  # a field a setting and category: hundreds of categories
FEW, MANY = 64, 10_000  # fields of one form


class Route(NamedTuple):
    """One rule: where it leads, by which method, and how much may be sent to it, in how many fields."""

    rule: str
    target: str  # "module:function"
    method: str = "GET"
    most_bytes: int = SMALL
    most_parts: int = FEW

    @property
    def endpoint(self) -> str:
        """The name ``url_for`` knows it by."""
        return self.target.removeprefix("web.").replace(":", ".")


ROUTES = (
    Route("/", "web.check:ask"),
    Route("/check", "web.check:judge", "POST", PHOTO),
    Route("/sw.js", "web.worker:script"),
    Route("/aisle/check", "web.check:bare"),
    Route("/aisle/haul", "web.haul:bare"),
    Route("/aisle/away", "web.aisle:away"),
    Route("/aisle/state", "web.aisle:state"),
    Route("/aisle/send", "web.aisle:send", "POST", SETTINGS),
    Route("/waiting", "web.aisle:waiting"),
    Route("/check/<int:check_id>", "web.check:show"),
    Route("/check/<int:check_id>/flags", "web.check:mark", "POST"),
    Route("/check.json", "web.check:twin"),
    Route("/explain", "web.explain:show"),
    Route("/whatif", "web.whatif:show"),
    Route("/whatif/<int:check_id>", "web.whatif:of_check"),
    Route("/whatif.json", "web.whatif:twin"),
    Route("/ladder", "web.ladder:show"),
    Route("/ladder.csv", "web.ladder:download"),
    Route("/history", "web.check:past"),
    Route("/haul", "web.haul:show"),
    Route("/haul/take", "web.haul:take", "POST"),
    Route("/haul/recount", "web.haul:recount", "POST"),
    Route("/haul/undo", "web.haul:undo", "POST"),
    Route("/haul/redo", "web.haul:redo", "POST"),
    Route("/haul/start", "web.haul:start", "POST"),
    Route("/haul/close", "web.haul:close", "POST"),
    Route("/run", "web.run:now"),
    Route("/run/<int:haul_id>", "web.run:show"),
    Route("/run/end", "web.run:end", "POST"),
    Route("/run/reopen", "web.run:reopen", "POST"),
    Route("/plan", "web.plan:show"),
    Route("/plan", "web.plan:work_out", "POST", FILE, MANY),
    Route("/plan/take", "web.plan:take", "POST", SETTINGS, MANY),
    Route("/plan/undo", "web.plan:undo", "POST"),
    Route("/stock", "web.stock:show"),
    Route("/stock/box", "web.stock:box"),
    Route("/stock/together", "web.stock:together", "POST", SETTINGS, MANY),
    Route("/stock/<int:item_id>", "web.stock:piece"),
    Route("/stock/<int:item_id>", "web.stock:change", "POST"),
    Route("/stock/bring", "web.stock:bring", "POST"),
    Route("/stock/undo", "web.stock:undo", "POST"),
    Route("/stock/actions", "web.stock:actions"),
    Route("/stock/labels", "web.stock_labels:show"),
    Route("/stock/labels", "web.stock_labels:save", "POST", SETTINGS, MANY),
    Route("/stock/labels/undo", "web.stock_labels:undo", "POST", SETTINGS, MANY),
    Route("/stock/labels.json", "web.stock_labels:examples"),
    Route("/stock/labels.pdf", "web.stock_labels:pdf"),
    Route("/outcomes", "web.outcomes:show"),
    Route("/outcomes/load", "web.outcomes:upload", "POST", FILE),
    Route("/outcomes/file/<token>", "web.outcomes:file"),
    Route("/outcomes/file/<token>/record", "web.outcomes:record", "POST", SETTINGS, MANY),
    Route("/outcomes/file/<token>/drop", "web.outcomes:drop", "POST"),
    Route("/outcomes/undo", "web.outcomes:undo", "POST"),
    Route("/outcomes/own", "web.outcomes:own_again", "POST"),
    Route("/record", "web.record:show"),
    Route("/record/accept", "web.record:take", "POST"),
    Route("/record/undo", "web.record:undo", "POST"),
    Route("/comps", "web.comps:show"),
    Route("/comps/load", "web.comps:load", "POST", FILE),
    Route("/comps/file/<token>", "web.incoming:show"),
    Route("/comps/file/<token>/pick", "web.incoming:pick", "POST"),
    Route("/comps/file/<token>/say", "web.incoming:say", "POST", SETTINGS, MANY),
    Route("/comps/file/<token>/again", "web.incoming:again", "POST", SETTINGS, MANY),
    Route("/comps/file/<token>/rows", "web.incoming:rows"),
    Route("/comps/file/<token>/load", "web.incoming:load", "POST"),
    Route("/comps/file/<token>/drop", "web.incoming:drop", "POST"),
    Route("/comps/file/<token>/bring_back", "web.incoming:bring_back", "POST"),
    Route("/comps/progress/<int:number>", "web.incoming:progress"),
    Route("/comps/progress/<int:number>/cancel", "web.incoming:cancel", "POST"),
    Route("/comps/layouts/forget", "web.comps:forget", "POST"),
    Route("/comps/layouts/back", "web.comps:bring_back", "POST"),
    Route("/comps/batch/<int:batch_id>", "web.comps:batch"),
    Route("/comps/batch/<int:batch_id>/mend", "web.mending:put_right", "POST", SETTINGS, MANY),
    Route("/comps/batch/<int:batch_id>/rejected.csv", "web.mending:download"),
    Route("/comps/undo", "web.comps:undo", "POST"),
    Route("/comps/table", "web.table:show"),
    Route("/comps/row", "web.table:row"),
    Route("/comps/row/edit", "web.table:edit", "POST"),
    Route("/comps/item", "web.table:item"),
    Route("/comps/aside", "web.table:aside", "POST", SMALL, MANY),
    Route("/comps/back", "web.table:back", "POST", SMALL, MANY),
    Route("/comps/move", "web.table:move", "POST", SMALL, MANY),
    Route("/comps/merge", "web.table:merge", "POST"),
    Route("/comps/names", "web.table:all_names"),
    Route("/comps/rename", "web.table:rename", "POST", SMALL, MANY),
    Route("/comps/changes", "web.table:changes"),
    Route("/comps/changes/undo", "web.table:undo", "POST"),
    Route("/comps/evidence", "web.table:evidence"),
    Route("/check/<int:check_id>/comp", "web.typed:add", "POST"),
    Route("/check/<int:check_id>/comp/undo", "web.typed:undo", "POST"),
    Route("/progress", "web.comps:progress"),
    Route("/rules", "web.rules:show"),
    Route("/rules/part/<part>", "web.rules:part"),
    Route("/rules/part/<part>", "web.rules:change_part", "POST", SETTINGS, MANY),
    Route("/rules/category", "web.rules:category"),
    Route("/rules/category", "web.rules:change_category", "POST", SETTINGS, MANY),
    Route("/rules/channel", "web.channel:channel"),
    Route("/rules/channel", "web.channel:change_channel", "POST", SETTINGS, MANY),
    Route("/rules/receipt", "web.receipt:show"),
    Route("/rules/flag", "web.rules:flag"),
    Route("/rules/flag", "web.rules:change_flag", "POST", SETTINGS, MANY),
    Route("/rules/undo", "web.rules:undo", "POST"),
    Route("/tune", "web.tune:show"),
    Route("/tune/start", "web.tune:start", "POST"),
    Route("/tune/stop", "web.tune:stop", "POST"),
    Route("/tune/accept", "web.tune:accept", "POST"),
    Route("/tune/undo", "web.tune:undo", "POST"),
    Route("/rules/settings.toml", "web.rules:export"),
    Route("/rules/import", "web.rules:bring_in", "POST"),
    Route("/today", "web.today:show"),
    Route("/today/cut", "web.today:cut", "POST", SMALL, MANY),
    Route("/today/undo", "web.today:undo", "POST"),
    Route("/today/count", "web.today:count", "POST"),
    Route("/prep", "web.prep:show"),
    Route("/prep/start", "web.prep:start", "POST", SMALL, MANY),
    Route("/prep/tap", "web.prep:tap", "POST"),
    Route("/prep/finish", "web.prep:finish", "POST", SMALL, MANY),
    Route("/prep/correct", "web.prep:correct", "POST"),
    Route("/prep/undo", "web.prep:undo", "POST"),
    Route("/stores", "web.stores:show"),
    Route("/stores/left", "web.stores:left_there"),
    Route("/run/<int:haul_id>/trip", "web.stores:trip", "POST"),
    Route("/stores/undo", "web.stores:undo_trip", "POST"),
    Route("/books", "web.books:show"),
    Route("/books.csv", "web.books:statement_csv"),
    Route("/books/entries.csv", "web.books:entries_csv"),
    Route("/books/dictionary.csv", "web.books:dictionary_csv"),
    Route("/books.xlsx", "web.books:workbook"),
    Route("/books.zip", "web.books:everything"),
    Route("/photos/<int:number>", "web.photos:show"),
    Route("/photos/<int:number>.jpg", "web.photos:picture"),
    Route("/photos/<int:number>/small.jpg", "web.photos:small"),
    Route("/photos/<of>/<int:number>", "web.photos:add", "POST", PHOTO),
    Route("/photos/<int:number>/remove", "web.photos:remove", "POST"),
    Route("/help", "web.help:show"),
    Route("/aisle/pack", "web.pack:send"),
    Route("/aisle/pack/state", "web.pack:state"),
    Route("/connect", "web.connect:show"),
    Route("/connect/note", "web.connect:note", "POST"),
    Route("/trust", "web.trust:show"),
    Route("/root.crt", "web.trust:der"),
    Route("/root.pem", "web.trust:pem"),
    Route("/cautions/dismiss", "web.cautions:dismiss", "POST"),
    Route("/cautions/bring_back", "web.cautions:bring_back", "POST"),
    Route("/enter/<key>", "web.enter:enter"),
)
MOST = {route.endpoint: (route.most_bytes, route.most_parts) for route in ROUTES}


class LazyView:
    """Stand in for a view until it is first called; the name and module are what Flask and Flask-WTF read."""

    def __init__(self, target: str) -> None:
        self.__module__, self.__name__ = target.split(":")

    @cached_property
    def view(self) -> Callable[..., Any]:
        """The view itself."""
        return getattr(import_module(self.__module__), self.__name__)  # type: ignore[no-any-return]

    def __call__(self, **values: Any) -> Any:
        """Call the view."""
        return self.view(**values)


class KeptNumber(IntegerConverter):
    """A number in an address; beyond what the store can hold there is no such page."""

    def to_python(self, value: str) -> int:
        """Read it."""
        if (number := int(super().to_python(value))) >= 2**63:
            raise ValidationError
        return number


def add_routes(app: Flask) -> None:
    """Give the app every route of the table."""
    app.url_map.converters["int"] = KeptNumber
    for route in ROUTES:
        app.add_url_rule(route.rule, route.endpoint, LazyView(route.target), methods=[route.method])
    app.after_request(_pack_follows)
    app.after_request(_own_sales_follow)


def _own_sales_follow(response: Response) -> Response:
    """Let own sales among the comps follow what a form changed in stock."""
    if request.method == "POST" and response.status_code < 400 and request.path.startswith("/stock"):
        from web.outcomes import follow

        follow()
    return response


def _pack_follows(response: Response) -> Response:
    """Let the take-along pack follow what a form changed, where one was ever taken along."""
    if request.method == "POST" and response.status_code < 400 and (current().folder / "pack.gz").exists():
        from web.pack import follow

        follow()
    return response
