"""All settings: one table of names drives the TOML file, the Rules page and the documentation."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple

from sourcing.errors import BadInput, NotFound
from sourcing.rules import Rules
from sourcing.storage import Store
from sourcing.terms import PriceCutPlan, Terms

OFF = "off"


class Setting(NamedTuple):
    """One setting: name, unit ("money", "share", "days", "minutes", "count", "cuts"), help, may be off, limits."""

    name: str
    unit: str
    help: str
    optional: bool = False
    highest: Decimal = Decimal(1_000_000)


_ONE = Decimal("0.95")
SETTINGS: tuple[Setting, ...] = (
    Setting("fee_rate", "share", "fee as a share of what the buyer pays", highest=_ONE),
    Setting("fee_fixed", "money", "fixed part of the fee per order"),
    Setting("fee_cap", "money", "the percentage part never exceeds this", True),
    Setting("postage", "money", "what posting one packed item costs you"),
    Setting("supplies", "money", "box, filling, label"),
    Setting("purchase_tax", "share", "tax added at the till; 0 with a resale exemption", highest=_ONE),
    Setting("store_discount", "share", "discount the store gives at the till", highest=_ONE),
    Setting("prep_minutes", "minutes", "clean, photograph, list, pack one item"),
    Setting("hourly_value", "money", "what an hour of your prep time is worth"),
    Setting("return_rate", "share", "share of sales that come back", highest=_ONE),
    Setting("return_value_lost", "share", "share of the price lost on a return", highest=Decimal(1)),
    Setting("capital_rate", "share", "cost of cash tied up, per year", highest=Decimal(5)),
    Setting("assumed_days", "days", "days to sell assumed when the comps carry no listing dates"),
    Setting("cuts", "cuts", "price cuts as [day, share off the first asking price]"),
    Setting("give_up_day", "days", "day on which an unsold item is given up"),
    Setting("salvage", "share", "share of the usual sale price still got when given up", highest=Decimal(1)),
    Setting("least_profit", "money", "rule: expected profit after everything at least this", True),
    Setting(
        "least_return",
        "share",
        "rule: expected profit at least this share of the landed cost",
        True,
        Decimal(20),
    ),
    Setting("target_days", "days", "rule: the days within which it should sell"),
    Setting(
        "wanted_chance", "share", "rule: chance wanted of selling within the target days", True, Decimal(1)
    ),
    Setting("most_loss_chance", "share", "rule: largest acceptable chance of a loss", True, _ONE),
    Setting("least_comps", "count", "rule: what is known must be worth this many sales of the item", True),
)
_BY_NAME = {setting.name: setting for setting in SETTINGS}
_PLAN = ("cuts", "give_up_day", "salvage")
_RULES = tuple(f.name for f in dataclasses.fields(Rules))


@dataclass(frozen=True)
class CategorySettings:
    """Terms and rules of one category, inheritance resolved."""

    terms: Terms
    rules: Rules


def _defaults() -> dict[str, Any]:
    terms, rules = Terms(), Rules()
    values = {name: getattr(terms, name) for name in _BY_NAME if hasattr(terms, name)}
    values |= {name: getattr(rules, name) for name in _RULES}
    values |= {name: getattr(terms.plan, name) for name in _PLAN}
    return {name: values[name] for name in _BY_NAME}


def _categories() -> dict[str, dict[str, Any]]:
    return {
        "shoes": {"postage": Decimal("8.90")},
        "clothing": {"postage": Decimal("4.90"), "prep_minutes": Decimal(5)},
        "toys": {"postage": Decimal("7.40")},
        "games": {"postage": Decimal("4.20"), "prep_minutes": Decimal(4)},
        "housewares": {"postage": Decimal("9.80"), "prep_minutes": Decimal(7)},
    }


@dataclass(frozen=True)
class Settings:
    """Everything the user can set; ``categories`` holds only what differs from ``default``."""

    locale: str = "en_US"
    currency: str = "USD"
    default: Mapping[str, Any] = field(default_factory=_defaults)
    categories: Mapping[str, Mapping[str, Any]] = field(default_factory=_categories)

    def for_category(self, name: str) -> CategorySettings:
        """Resolve one category; an unknown or empty name takes the defaults."""
        own = self.categories.get(" ".join(name.casefold().split()), {})
        values = {**self.default, **own}
        plan = PriceCutPlan(**{key: values[key] for key in _PLAN})
        terms = {f.name: values[f.name] for f in dataclasses.fields(Terms) if f.name in values}
        return CategorySettings(Terms(**terms, plan=plan), Rules(**{key: values[key] for key in _RULES}))


def default_settings() -> Settings:
    """Return the settings of a fresh install."""
    return Settings()


def to_toml(settings: Settings) -> str:
    """Write the settings file; each line carries its one-line help."""
    import tomlkit

    document = tomlkit.document()
    document.add(
        tomlkit.comment("Amounts are invented round figures to start from: put your own in their place.")
    )
    document["locale"] = settings.locale
    document["currency"] = settings.currency
    for path, values in (("default", settings.default), *settings.categories.items()):
        table = tomlkit.table()
        for name in (n for n in _BY_NAME if n in values):
            table[name] = _written(values[name])
            table[name].comment(f"{_BY_NAME[name].unit}: {_BY_NAME[name].help}")  # type: ignore[union-attr]
        if path == "default":
            document["default"] = table
        else:
            document.setdefault("category", tomlkit.table(is_super_table=True))[path] = table  # type: ignore[index]
    return tomlkit.dumps(document)


def _written(value: Any) -> Any:
    import tomlkit

    if value is None:
        return tomlkit.item(OFF)
    if isinstance(value, tuple):
        return tomlkit.item([[day, float(cut)] for day, cut in value])
    return tomlkit.item(value if isinstance(value, int) else float(value))


def from_toml(text: str) -> Settings:
    """Read a settings file.

    Raises
    ------
    BadInput
        Not TOML, an unknown name (the closest is suggested), or a value that cannot be used.
    """
    import tomllib

    try:
        plain = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"The settings file is not TOML: {error}.", next_step="Mend that line.") from error
    _known(plain, ("locale", "currency", "default", "category"), "")
    for name in ("locale", "currency"):
        if not isinstance(plain.get(name, ""), str):
            raise BadInput(f"{name} is {plain[name]!r}.", "A text in quotes.", field=name)
    base = default_settings()
    default = {**base.default, **_read_table(plain.get("default", {}), "default")}
    categories = {
        " ".join(name.casefold().split()): _read_table(table, name)
        for name, table in plain.get("category", {}).items()
    }
    settings = Settings(
        plain.get("locale", base.locale),
        plain.get("currency", base.currency),
        default,
        categories if "category" in plain else base.categories,
    )
    from sourcing.money import minor_digits

    minor_digits(settings.currency)
    return settings


def _known(values: Mapping[str, Any], names: Any, where: str) -> None:
    for name in values:
        if name not in names:
            near = difflib.get_close_matches(name, list(names), 1, 0.4)
            raise BadInput(
                f"There is no setting “{name}”{where}.",
                f"The closest is “{near[0]}”." if near else f"Known: {', '.join(names)}.",
                field=name,
            )


def _read_table(table: Any, where: str) -> dict[str, Any]:
    if not isinstance(table, Mapping):
        raise BadInput(f"“{where}” is not a table of settings.", field=where)
    _known(table, _BY_NAME, f" in {where}")
    return {name: _read_value(_BY_NAME[name], value) for name, value in table.items()}


def _read_value(setting: Setting, value: Any) -> Any:
    if setting.optional and value == OFF:
        return None
    if setting.unit == "cuts":
        return _read_cuts(value)
    wrong = BadInput(
        f"{setting.name} is {value!r}.",
        f"A number from 0 to {setting.highest} ({setting.unit})"
        + (', or "off".' if setting.optional else "."),
        field=setting.name,
    )
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise wrong
    number = Decimal(value)
    if not number.is_finite() or not 0 <= number <= setting.highest:
        raise wrong
    if setting.unit == "days":
        if number != int(number) or not 1 <= number <= 3650:
            raise wrong
        return int(number)
    if setting.name == "salvage" and number < Decimal("0.01"):
        return Decimal("0.01")
    return number


def _read_cuts(value: Any) -> tuple[tuple[int, Decimal], ...]:
    try:
        cuts = tuple((int(day), Decimal(cut)) for day, cut in value)
    except (TypeError, ValueError, InvalidOperation):
        cuts = ((-1, Decimal(0)),)
    days, shares = [day for day, _ in cuts], [share for _, share in cuts]
    if (
        any(day < 1 for day in days)
        or days != sorted(days)
        or any(not 0 <= s < 1 for s in shares)
        or shares != sorted(shares)
    ):
        raise BadInput(
            f"cuts is {value!r}.",
            "Pairs of day and share off, both rising: [[30, 0.10], [60, 0.20]].",
            field="cuts",
        )
    return cuts


def load_settings(store: Store) -> Settings:
    """Return the settings in force."""
    rows = store.read("SELECT toml FROM settings_version WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1")
    if not rows:
        return default_settings()
    text = rows[0][0]
    if text not in _parsed:
        _parsed.clear()
        _parsed[text] = from_toml(text)
    return _parsed[text]


_parsed: dict[str, Settings] = {}


def save_settings(store: Store, settings: Settings, why: str) -> None:
    """Keep a new version; the old ones stay for an undo."""
    from sourcing.storage.schema import settings_version

    with store.write() as connection:
        connection.execute(
            settings_version.insert().values(
                saved_at=datetime.now(UTC).isoformat(timespec="seconds"), why=why, toml=to_toml(settings)
            )
        )


def undo_settings(store: Store) -> None:
    """Go back to the version before the one in force.

    Raises
    ------
    NotFound
        Nothing was changed yet.
    """
    rows = store.read("SELECT id FROM settings_version WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1")
    if not rows:
        raise NotFound(
            "No change of the settings is left to undo.", next_step="The settings are the first ones."
        )
    with store.write() as connection:
        connection.exec_driver_sql(
            "UPDATE settings_version SET undone_at = ? WHERE id = ?",
            (datetime.now(UTC).isoformat(timespec="seconds"), rows[0][0]),
        )
