"""Settings files of older versions: what stood elsewhere then is moved to where it stands now, nothing lost."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sourcing.labour import STEPS
from sourcing.language import gettext
from sourcing.settings_table import of_place

MAIN = "main"  # the channel of a fresh install
_PREP = "prep_minutes"
_DAY = Decimal(1440)  # minutes


def moved_fees(plain: dict[str, Any]) -> tuple[str, ...]:
    """Move fees out of ``[default]`` and ``[category.NAME]`` into channels, in place; return a note for each move.

    Fees were terms of a category once and are a channel's now. Those of ``[default]`` go to the channel that
    ``[default]`` sells on. A category with fees of its own gets a channel of its own name, with its fees over those
    of the channel it sold on. A fee that the channel of ``[default]`` states already is the newer word: it stays in
    force, and the note holds the other. Tables that are no tables are left for the reader to refuse.
    """
    channels = plain.get("channel") or {MAIN: {}}
    if not isinstance(channels, dict) or not all(isinstance(one, dict) for one in channels.values()):
        return ()
    default, categories, notes = plain.get("default"), plain.get("category"), []
    base = str(default.get("channel", MAIN)) if isinstance(default, dict) else MAIN
    if isinstance(default, dict) and (fees := _taken(default)):
        base = _named(base, channels)
        notes.append(_moved(channels.setdefault(base, {}), fees, "default", base))
    for name, table in categories.items() if isinstance(categories, dict) else ():
        if not isinstance(table, dict) or not (fees := _taken(table)):
            continue
        sold_on = channels.get(_named(str(table.get("channel", base)), channels), {})
        own = _free(name, channels)
        channels[own] = {fee: value for fee, value in sold_on.items() if fee not in fees}
        notes.append(_moved(channels[own], fees, f"category.{name}", own))
        table["channel"] = own
    if notes:
        plain["channel"] = channels
    return tuple(notes)


def moved_prep(plain: dict[str, Any]) -> tuple[str, ...]:
    """Part ``prep_minutes`` of ``[default]`` and ``[category.NAME]`` among the steps, in place; return the notes.

    All prep was one number once. It is parted as the steps of a fresh install are, to a hundredth of a minute, and
    comes to the same in all. Steps the table states already are the newer word. What is no number is left for the
    reader to refuse.
    """
    categories = plain.get("category")
    tables = [("default", plain.get("default"))]
    tables += [(f"category.{name}", one) for name, one in categories.items()] if isinstance(categories, dict) else []
    notes = []
    for where, table in tables:
        if not isinstance(table, dict) or _PREP not in table:
            continue
        minutes = table.pop(_PREP)
        if any(f"{step}_minutes" in table for step in STEPS):
            notes.append(
                gettext(
                    "The steps of [{where}] stay in force, not its prep_minutes = {minutes}.",
                    where=where,
                    minutes=minutes,
                )
            )
            continue
        if isinstance(minutes, str) and minutes.strip().casefold() == "default":
            continue
        table.update(_parted(minutes))
        notes.append(
            gettext(
                "Prep is stated by step now: prep_minutes = {minutes} of [{where}] was parted among the four.",
                minutes=minutes,
                where=where,
            )
        )
    return tuple(notes)


def _parted(minutes: Any) -> dict[str, Any]:
    try:
        whole = Decimal(str(minutes))
    except ArithmeticError:
        return {"list_minutes": minutes}
    if isinstance(minutes, bool) or not 0 <= whole <= _DAY:
        return {"list_minutes": minutes}
    usual = {f"{step}_minutes": of_place("category")[f"{step}_minutes"].default for step in STEPS}
    found = {name: round(whole * part / sum(usual.values()), 2) for name, part in usual.items()}
    found["list_minutes"] += whole - sum(found.values())
    return found


def _taken(table: dict[str, Any]) -> dict[str, Any]:
    return {name: table.pop(name) for name in of_place("channel") if name in table}


def _named(name: str, channels: dict[str, Any]) -> str:
    """Return the channel's name as the file writes it; capitals and blanks do not matter."""
    return next((other for other in channels if _plain(other) == _plain(name)), name)


def _free(name: str, channels: dict[str, Any]) -> str:
    taken = {_plain(other) for other in channels}
    number, free = 1, name
    while _plain(free) in taken:
        number += 1
        free = f"{name[:70]} {number}"
    return free


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _moved(channel: dict[str, Any], fees: dict[str, Any], source: str, target: str) -> str:
    stayed = [name for name in fees if name in channel and channel[name] != fees[name]]
    for name, value in fees.items():
        channel.setdefault(name, value)
    told = [
        gettext(
            "Fees are a channel's now: {fees} of [{source}] moved to [channel.{target}].",
            fees=", ".join(fees),
            source=source,
            target=target,
        )
    ]
    told += [
        gettext(
            "Its own {name} = {kept} stays in force, not the {other} of [{source}].",
            name=name,
            kept=channel[name],
            other=fees[name],
            source=source,
        )
        for name in stayed
    ]
    return " ".join(told)
