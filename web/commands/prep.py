"""``prep``: the stopwatch of batches, and what they teach of the minutes a piece needs."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import click

from sourcing.labour import STEPS
from sourcing.language import gettext, gettext_noop, ngettext, separated
from web.commands.frame import data_option, key, open_data, say
from web.commands.words import Group

if TYPE_CHECKING:
    from sourcing.prep.batch import Batch

TAPS = {
    "start": gettext_noop("start"), "pause": gettext_noop("pause"), "resume": gettext_noop("resume"),
    "still": gettext_noop("still"), "finish": gettext_noop("finish"), "correct": gettext_noop("correct"),
    "leave out": gettext_noop("leave out"),
}  # fmt: skip


@click.group(cls=Group)
@data_option
def prep() -> None:
    """Time the prep of batches: start, pause, resume, finish; see what was learnt.

    \b
    Example: sourcing prep start photograph --category shoes
    """


@prep.command()
@click.argument("step", type=click.Choice(STEPS))
@click.option("--category", default="", help="Category of the pieces, where they are alike.")
@click.option("--flag", "flags", multiple=True, help="What all of them have, such as no_box; may be repeated.")
@click.option("--item", "items", type=int, multiple=True, help="Number of a piece of stock in it; may be repeated.")
@data_option
@click.pass_context
def start(ctx: click.Context, step: str, category: str, flags: tuple[str, ...], items: tuple[int, ...]) -> None:
    """Start the watch of a new batch.

    \b
    Example: sourcing prep start photograph --category shoes --flag no_box
    """
    from sourcing.prep import watch

    number = watch.start(open_data(ctx), step, category=category, flags=flags, items=items)
    told = f"sourcing prep finish {number} 12"
    say(gettext("Batch {number} runs. When it is done: {command}", number=number, command=told))


@prep.command()
@click.argument("batch", type=int)
@data_option
@click.pass_context
def pause(ctx: click.Context, batch: int) -> None:
    """Stop a watch for a while.

    \b
    Example: sourcing prep pause 4
    """
    from sourcing.prep import watch

    watch.pause(open_data(ctx), batch)


@prep.command()
@click.argument("batch", type=int)
@data_option
@click.pass_context
def resume(ctx: click.Context, batch: int) -> None:
    """Let a paused watch run on.

    \b
    Example: sourcing prep resume 4
    """
    from sourcing.prep import watch

    watch.resume(open_data(ctx), batch)


@prep.command()
@click.argument("batch", type=int)
@click.argument("pieces", type=int, required=False)
@click.option("--item", "items", type=int, multiple=True, help="Number of a piece of stock that was done.")
@click.option("--minutes", type=str, help="How long it really took, where the watch does not tell.")
@click.option("--as-is", is_flag=True, help="Count what the watch says, although it asks.")
@data_option
@click.pass_context
def finish(
    ctx: click.Context, batch: int, pieces: int | None, items: tuple[int, ...], minutes: str | None, as_is: bool
) -> None:
    """Finish a batch with the number of pieces done.

    \b
    Example: sourcing prep finish 4 12
    """
    from sourcing.prep import watch

    done = watch.finish(open_data(ctx), batch, pieces, items=items, minutes=_minutes(minutes), as_is=as_is)
    say(_line(done))


@prep.command()
@click.argument("batch", type=int)
@click.option("--pieces", type=int, help="How many there were.")
@click.option("--minutes", type=str, help="How long it took.")
@data_option
@click.pass_context
def correct(ctx: click.Context, batch: int, pieces: int | None, minutes: str | None) -> None:
    """Put the pieces or the minutes of a finished batch right.

    \b
    Example: sourcing prep correct 4 --pieces 11
    """
    from sourcing.prep import watch

    watch.correct(open_data(ctx), batch, pieces=pieces, minutes=_minutes(minutes))


@prep.command(name="leave-out")
@click.argument("batch", type=int)
@data_option
@click.pass_context
def leave_out(ctx: click.Context, batch: int) -> None:
    """Leave a batch out of everything, such as one whose watch was forgotten.

    \b
    Example: sourcing prep leave-out 4
    """
    from sourcing.prep import watch

    watch.leave_out(open_data(ctx), batch)


@prep.command()
@click.argument("batch", type=int)
@click.option("--redo", is_flag=True, help="Do again what was undone last.")
@data_option
@click.pass_context
def undo(ctx: click.Context, batch: int, redo: bool) -> None:
    """Take the last tap on a batch back.

    \b
    Example: sourcing prep undo 4
    """
    from sourcing.prep import watch

    kind = (watch.redo if redo else watch.undo)(open_data(ctx), batch)
    tap = key(TAPS[kind])
    say(gettext("Done again: {tap}", tap=tap) if redo else gettext("Undone: {tap}", tap=tap))


@prep.command(name="list")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def list_(ctx: click.Context, as_json: bool) -> None:
    """List the batches: those whose watches run, then the finished ones, newest first.

    \b
    Example: sourcing prep list
    """
    from sourcing.prep import watch

    store = open_data(ctx)
    found = [*watch.running(store), *reversed(watch.finished(store))]
    if as_json:
        click.echo(json.dumps([_plain(batch) for batch in found], indent=2))
        return
    for batch in found:
        click.echo(_line(batch))
        if batch.forgotten:
            say(gettext("Batch {number} may be forgotten: finish it with --minutes, or leave it out.", number=batch.id))


@prep.command()
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def learnt(ctx: click.Context, as_json: bool) -> None:
    """Print the minutes a piece that your own batches tell, and which take the place of those set.

    \b
    Example: sourcing prep learnt
    """
    from sourcing.settings import load_settings

    found = load_settings(open_data(ctx)).learnt
    lines = [
        {
            "what": kind, "name": name, "step": step, "minutes": str(one.minutes), "low": str(one.low),
            "high": str(one.high), "batches": one.batches, "pieces": one.pieces, "assumed": str(one.assumed),
            "enough": one.enough,
        }
        for kind, several in (("category", found.by_category), ("flag", found.by_flag))
        for (name, step), one in several.items()
    ]  # fmt: skip
    if as_json:
        click.echo(json.dumps(lines, indent=2))
        return
    if not lines:
        begin = "sourcing prep start photograph --category shoes"
        say(gettext("No batch was timed yet. Begin with: {command}", command=begin))
    for line in lines:
        click.echo(_learnt(line))


def _learnt(line: dict[str, Any]) -> str:
    minutes, low, high, assumed = (separated(line[name]) for name in ("minutes", "low", "high", "assumed"))
    rests_on = ngettext(
        "{minutes} min ({low} to {high}), {count} batch; set {assumed}",
        "{minutes} min ({low} to {high}), {count} batches; set {assumed}",
        line["batches"], minutes=f"{minutes:>6}", low=low, high=high, assumed=assumed,
    )  # fmt: skip
    used = gettext("replaced") if line["enough"] else gettext("too few yet")
    return f"{line['name'] or gettext('any other'):<16}{key(line['step']):<15}{rests_on}, {used}"


def _minutes(text: str | None) -> Decimal | None:
    if text is None:
        return None
    from sourcing.typed_number import plain_number

    found = plain_number(text.strip())
    if found is None:
        raise click.BadParameter(gettext("“{text}” is no number of minutes; type one such as 25 or 12.5.", text=text))
    return found


def _line(batch: Batch) -> str:
    from sourcing.prep.batch import in_words

    told = [in_words(batch.minutes)]
    if batch.pieces:
        told.append(ngettext("{count} piece", "{count} pieces", batch.pieces))
    if batch.per_hour:
        told.append(gettext("{count} an hour", count=separated(f"{batch.per_hour:.1f}")))
    whose = f"{batch.category or gettext('any other'):<14}"
    return f"{batch.id:>5}  {key(batch.step):<15}{whose}{key(batch.state):<13}{', '.join(told)}"


def _plain(batch: Batch) -> dict[str, Any]:
    return {
        "id": batch.id, "step": batch.step, "state": batch.state, "category": batch.category,
        "flags": list(batch.flags), "started": batch.started.isoformat(),
        "ended": batch.ended.isoformat() if batch.ended else None, "minutes": round(batch.minutes, 2),
        "typed": batch.typed, "pieces": batch.pieces, "per_hour": batch.per_hour, "forgotten": batch.forgotten,
    }  # fmt: skip
