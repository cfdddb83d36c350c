"""``explain``: how one item's forecast came about."""

from __future__ import annotations

import json

import click

from sourcing.language import gettext
from web.commands.frame import data_option, open_data
from web.commands.words import Command


@click.command(cls=Command)
@click.argument("code")
@click.option("--price", help='Shelf price, such as 14.99; or of several, such as "3 for 20".')
@click.option("--size", default="", help="Size or other variant.")
@click.option("--condition", default="", help="Condition, in the words of your comps.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def explain(ctx: click.Context, code: str, price: str | None, size: str, condition: str, as_json: bool) -> None:
    """Say how one item's forecast came about; not kept in the history.

    \b
    Example: sourcing explain FA123-001 --price 14.99
    """
    from decimal import Decimal

    from sourcing.answer import Query
    from sourcing.explain import explain as take_apart
    from sourcing.money import money_writer
    from sourcing.settings import load_settings
    from sourcing.tag import typed_tag

    store = open_data(ctx)
    kept = load_settings(store)
    shelf = None if price is None else typed_tag(price, kept.currency, kept.locale)
    found = take_apart(store, Query(code=code, shelf_price=shelf, size=size, condition=condition))
    if as_json:
        click.echo(json.dumps(found.as_dict(), indent=2))
        return
    write = money_writer(found.currency, kept.locale)

    def most(amount: Decimal | None, enough: bool) -> str:
        if amount is not None:
            return write(amount)
        return gettext("no limit") if enough else gettext("too little to go on")

    click.echo(found.item.label)
    click.echo(found.verdict.reason)
    for section in found.sections:
        click.echo(f"\n{section.heading}")
        for sentence in filter(None, section.sentences):
            click.echo(f"  {sentence}")
    if found.what_if:
        click.echo("\n" + gettext("One more sale, today, in the same size and condition"))
        for one in found.what_if:
            told = gettext(
                "at {price}: median price {median}, most worth paying {most}",
                price=write(one.price),
                median=write(one.median),
                most=most(one.most_worth_paying, one.enough),
            )
            click.echo(f"  {told}")
