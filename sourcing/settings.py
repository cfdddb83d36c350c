"""All settings: what they are now, what they come to for a category, and how they are kept."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from sourcing import settings_file
from sourcing.business import Business, check_business
from sourcing.channels import FEES
from sourcing.errors import BadInput, NotFound
from sourcing.labour import NOTHING_LEARNT, Flag, Learnt, first_flags
from sourcing.language import gettext
from sourcing.prep.stamp import PREP_STAMP
from sourcing.rules import HaulLimits
from sourcing.settings_category import CategorySettings, resolved, sold_on
from sourcing.settings_file import folded
from sourcing.settings_table import SETTINGS, Place, Setting, defaults, of_place
from sourcing.stock.paper import LabelSettings, check_labels
from sourcing.storage import Store

if TYPE_CHECKING:
    from sqlalchemy import Connection

__all__ = ["SETTINGS", "CategorySettings", "Setting", "Settings", "default_settings", "from_toml", "load_settings",
           "redo_settings", "save_settings", "to_toml", "undo_settings"]  # fmt: skip


def _channels() -> dict[str, dict[str, Any]]:
    return {"main": defaults("channel")}


def _categories() -> dict[str, dict[str, Any]]:
    return {
        "shoes": {"packed_weight": Decimal(1400), "packed_size": tuple(map(Decimal, (35, 25, 14)))},
        "clothing": {"packed_weight": Decimal(400), "clean_minutes": Decimal("0.5"), "list_minutes": Decimal(2)},
        "toys": {"packed_weight": Decimal(900)},
        "games": {
            "packed_weight": Decimal(200),
            "clean_minutes": Decimal("0.5"),
            "photograph_minutes": Decimal(1),
            "list_minutes": Decimal("1.5"),
        },
        "housewares": {"packed_weight": Decimal(2200), "list_minutes": Decimal(2), "pack_minutes": Decimal("2.5")},
    }


def _table(place: Place) -> Callable[[], dict[str, Any]]:
    return lambda: defaults(place)


@dataclass(frozen=True)
class Settings:
    """Everything the user can set; ``categories`` holds only what differs from ``default``."""

    locale: str = "en_US"
    currency: str = "USD"
    parcel: Mapping[str, Any] = field(default_factory=_table("parcel"))
    channels: Mapping[str, Mapping[str, Any]] = field(default_factory=_channels)
    default: Mapping[str, Any] = field(default_factory=_table("category"))
    categories: Mapping[str, Mapping[str, Any]] = field(default_factory=_categories)
    flags: Mapping[str, Flag] = field(default_factory=first_flags)
    haul: HaulLimits = field(default_factory=HaulLimits)
    labels: LabelSettings = field(default_factory=LabelSettings)
    business: Business = field(default_factory=Business)
    notes: tuple[str, ...] = field(default=(), repr=False, compare=False)  # what reading an older file moved
    learnt: Learnt = field(default=NOTHING_LEARNT, repr=False)  # no setting: what the user's own batches tell
    _resolved: dict[tuple[str, date], CategorySettings] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def for_category(self, name: str, day: date | None = None) -> CategorySettings:
        """Resolve one category with the fees in force on a day, today's by default.

        An unknown or empty name takes the defaults.

        Raises
        ------
        BadInput
            The settings contradict each other: no such channel, a parcel too heavy for the postage table,
            fees and returns that take the whole price, a price cut after the day of giving up.
        """
        key = folded(name)
        at = (key if key in self.categories else "", day or date.today())
        found = self._resolved.get(at)
        if found is None:
            found = self._resolved[at] = resolved(self, *at)
        return found

    def on_channel(self, category: str, channel: str, day: date | None = None) -> CategorySettings:
        """Return the terms and rules of a category sold on a channel of your choice.

        Raises
        ------
        BadInput
            There is no such channel; or as for `for_category`.
        """
        name, own = sold_on(self, channel, gettext("The sale"))[0], self.categories.get(folded(category), {})
        changed = {**self.categories, folded(category): {**own, "channel": name}}
        return replace(self, categories=changed).for_category(category, day)

    def all_on(self, channel: str) -> Settings:
        """Return the settings with every category sold on one channel alone.

        Raises
        ------
        BadInput
            There is no such channel.
        """
        name = sold_on(self, channel, gettext("The sale"))[0]
        moved = {category: {**own, "channel": name} for category, own in self.categories.items()}
        return replace(self, default={**self.default, "channel": name}, categories=moved)

    def every_day(self) -> list[date]:
        """Return today and every day on which a channel's fees change."""
        days = {day for channel in self.channels.values() for day in channel.get(FEES, {})}
        return [date.today(), *sorted(days)]


def default_settings() -> Settings:
    """Return the settings of a fresh install."""
    return Settings()


def to_toml(settings: Settings) -> str:
    """Write the settings file."""
    general = {"locale": settings.locale, "currency": settings.currency}
    flags = {name: {key: getattr(flag, key) for key in of_place("flag")} for name, flag in settings.flags.items()}
    return settings_file.write(
        general, settings.parcel, settings.channels, settings.default, settings.categories, flags,
        dataclasses.asdict(settings.haul), dataclasses.asdict(settings.labels),
        dataclasses.asdict(settings.business))  # fmt: skip


def from_toml(text: str) -> Settings:
    """Read a settings file; what it leaves unsaid is as in a fresh install.

    Raises
    ------
    BadInput
        Not TOML, an unknown name (the closest is suggested), a value that cannot be used, or settings that
        contradict each other.
    """
    from sourcing.money import check_currency, check_locale

    found, base = settings_file.read(text), default_settings()
    settings = Settings(
        **{"locale": base.locale, "currency": base.currency, **found["general"]},
        parcel={**base.parcel, **found.get("parcel", {})},
        channels=found.get("channel", base.channels),
        default={**base.default, **found.get("default", {})},
        categories=found.get("category", base.categories),
        flags={name: Flag(name, **values) for name, values in found["flag"].items()} if "flag" in found else base.flags,
        haul=HaulLimits(**found.get("haul", {})),
        labels=LabelSettings(**found.get("labels", {})),
        business=Business(**found.get("business", {})),
        notes=found["notes"],
    )
    check_currency(settings.currency)
    check_locale(settings.locale)
    check_labels(settings.labels)
    check_business(settings.business)
    if (settings.parcel["volume_divisor"] is None) != (settings.parcel["volume_divisor_dated"] is None):
        raise BadInput(
            gettext("The volumetric divisor and its date do not come together."),
            gettext('Both set, or both "off".'),
            gettext("Add the day you looked the divisor up."),
            field="volume_divisor_dated",
        )
    for day in settings.every_day():
        for name in ("", *settings.categories):
            settings.for_category(name, day)
    return settings


def load_settings(store: Store) -> Settings:
    """Return the settings in force, with the minutes of prep that the user's own timed batches tell."""
    text, *stamp = store.read_once(_IN_FORCE)[0]
    timed = (store.url, *stamp) if stamp[0] is not None else ()
    found = _parsed.get((text, timed))
    if found is None:
        found = from_toml(text) if text else default_settings()
        if timed:
            from sourcing.prep.learnt import learn

            found = replace(found, learnt=learn(store, found))
        _parsed.clear()  # only the settings in force are worth keeping
        _parsed[text, timed] = found
    return found


_IN_FORCE = f"""SELECT (SELECT toml FROM settings_version WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1),
 {PREP_STAMP}"""  # noqa: S608 - no value in it
_parsed: dict[tuple[str | None, tuple[Any, ...]], Settings] = {}


def save_settings(store: Store, settings: Settings, why: str) -> bool:
    """Keep a new version; the old ones stay for an undo. Return whether to learn from the comps anew."""
    from sourcing.storage.schema import settings_version

    was = load_settings(store)
    with store.write() as connection:
        connection.execute(
            settings_version.insert().values(
                saved_at=datetime.now(UTC).isoformat(timespec="seconds"), why=why, toml=to_toml(settings)
            )
        )
        return _learns_again(was, settings, connection)


def undo_settings(store: Store) -> bool:
    """Go back to the version before the one in force. Return whether to learn from the comps anew.

    Raises
    ------
    NotFound
        Nothing was changed yet.
    """
    now = datetime.now(UTC).isoformat(timespec="microseconds")  # of two undone at once the later must be known
    done = _marked(store, "id = (SELECT max(id) FROM settings_version WHERE undone_at IS NULL)", now)
    if done is None:
        raise NotFound(
            gettext("No change of the settings is left to undo."), next_step=gettext("The settings are the first ones.")
        )
    return done


def redo_settings(store: Store) -> bool:
    """Take back the last undo. Return whether to learn from the comps anew.

    Raises
    ------
    NotFound
        Nothing was undone since the last change.
    """
    done = _marked(store, f"id = ({UNDONE_LAST})", None)
    if done is None:
        raise NotFound(
            gettext("Nothing is left to do again."),
            next_step=gettext("An undone change can come back until another is saved."),
        )
    return done


UNDONE_LAST = """SELECT id FROM settings_version WHERE undone_at IS NOT NULL
 AND id > coalesce((SELECT max(id) FROM settings_version WHERE undone_at IS NULL), 0)
 ORDER BY undone_at DESC, id LIMIT 1"""  # what was undone before the version in force was saved stays gone


def _marked(store: Store, which: str, undone_at: str | None) -> bool | None:
    """Mark one version as undone or not; None where there is none."""
    was = load_settings(store)
    with store.write() as connection:
        done = connection.exec_driver_sql(
            f"UPDATE settings_version SET undone_at = ? WHERE {which}",  # noqa: S608 - no value in it
            (undone_at,),
        )
        if not done.rowcount:
            return None
        now = connection.exec_driver_sql(
            "SELECT toml FROM settings_version WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1"
        ).scalar()
        return _learns_again(was, from_toml(now) if now else default_settings(), connection)


def _learns_again(was: Settings, now: Settings, connection: Connection) -> bool:
    """Let the comps of another currency count; say whether what was learnt rests on others, or on other words."""
    others = now.currency != was.currency and _counts_again(connection)
    return others or _words(was) != _words(now)


def _words(settings: Settings) -> dict[str, tuple[str, ...]]:
    return {name: flag.words for name, flag in settings.flags.items() if flag.words}


def _counts_again(connection: Connection) -> bool:
    """Let comps count that are in the new home currency, and those in the old one no longer."""
    from sourcing.comps.counted import count_currencies_again

    raw: Any = connection.connection.driver_connection
    return bool(count_currencies_again(raw))
