"""One sale of a category worked out line by line, on each channel it may be sold on."""

from __future__ import annotations

from flask import make_response, render_template, request
from werkzeug.wrappers import Response

from sourcing.errors import BadInput
from sourcing.receipt import ROUNDING, fee_note
from sourcing.settings import load_settings
from sourcing.settings_file import folded
from web.forms import read_price
from web.state import store


def show() -> Response:
    """Show the receipt of one sale: what the buyer pays, every cost, what is left."""
    settings = load_settings(store())
    category = folded(request.args.get("category", ""))
    wrong: dict[str, BadInput] = {}
    amounts = {}
    for name, example in (("paid", "60"), ("shelf", "")):
        try:
            amounts[name] = read_price({"price": request.args.get(name, example)})
        except BadInput as error:
            wrong[name] = error
    receipts = []
    if not wrong and (paid := amounts["paid"]) is not None:
        deal = settings.for_category(category)
        each = [(terms, terms.receipt(paid, amounts["shelf"])) for terms in deal.channels or (deal.terms,)]
        each.sort(key=lambda one: one[1][-1].amount, reverse=True)
        receipts = [(terms.channel, fee_note(terms), lines) for terms, lines in each]
    page = render_template(
        "rules/receipt.html",
        categories=list(settings.categories),
        category=category,
        values={"paid": request.args.get("paid", "60"), "shelf": request.args.get("shelf", "")},
        wrong=wrong,
        receipts=receipts,
        rounding=ROUNDING,
    )
    return make_response(page, 400 if wrong else 200)
