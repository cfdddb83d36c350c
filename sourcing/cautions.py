"""Cautions: shown where they matter until they are dismissed, and always under Help.

General words on common duties and dangers; they name whom to ask and state no threshold, for those differ by place and
change. Local law and licensed professionals come first.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from sourcing.errors import NotFound
from sourcing.language import gettext, gettext_noop
from sourcing.storage import Store

CHECK, VERDICT, HAUL, RULES, LADDER = MOMENTS = ("check", "verdict", "haul", "rules", "ladder")
"""Where a caution can matter: asking, before paying, after taking, setting up terms, pinning a table at the rack."""
_CHECKED = date(2026, 11, 26)
_WORD = re.compile(r"[^\W\d_]+")


@dataclass(frozen=True)
class Caution:
    """One caution; ``name`` is what its dismissal is kept by."""

    name: str
    topic: str
    words: str
    ask: str  # body or standard that knows more
    moments: tuple[str, ...] = ()  # of `MOMENTS`; without one it stands under Help alone
    about: frozenset[str] = frozenset()  # words of the item, one of which makes it matter; empty: any item
    checked_on: date = _CHECKED  # day on which the words were last gone through

    def fits(self, said: set[str]) -> bool:
        """Say whether it matters for an item of which these words are said."""
        return not self.about or not self.about.isdisjoint(said)

    def said(self) -> Caution:
        """Return it in the language of the moment."""
        return replace(self, topic=gettext(self.topic), words=gettext(self.words), ask=gettext(self.ask))


@dataclass(frozen=True)
class Shown:
    """One caution under Help, and when it was dismissed."""

    caution: Caution
    dismissed_at: str | None  # ISO 8601, UTC; None: it still shows where it matters


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


CAUTIONS = (
    Caution(
        "forecasts",
        gettext_noop("Forecasts, no promise"),
        gettext_noop(
            "Every figure is a forecast from past sales. It promises nothing, and it is no tax, legal or safety advice."
        ),
        gettext_noop("For advice: a licensed professional of the field."),
        (CHECK, LADDER),
    ),
    Caution(
        "ink",
        gettext_noop("Price ink, labels and solvents"),
        gettext_noop(
            "Remove a price mark only after paying, never to change a price in the shop. Solvents that "
            "lift ink are flammable and can harm: read the label and the safety data sheet, open windows, "
            "keep flames and sparks away, wear gloves, use little, keep children away, dry rags outdoors, "
            "and try a hidden spot first."
        ),
        gettext_noop("The product's safety data sheet (GHS), your fire service, NFPA, NIOSH or its counterpart."),
        (VERDICT,),
        _words("ink inked marker stamp stamped sticker stickers label labels writing"),
    ),
    Caution(
        "children",
        gettext_noop("Children's goods"),
        gettext_noop(
            "Take extra care with cribs, car seats, small parts, magnets, cords and old paint. When unsure do not sell."
        ),
        gettext_noop(
            "The CPSC in the US, your national product-safety body elsewhere; the standards EN 71 and ASTM F963."
        ),
        (VERDICT,),
        _words(
            "toy toys game games baby babies infant infants toddler child children childrens kid kids nursery crib "
            "cribs cot pram stroller playpen doll dolls magnet magnets"
        ),
    ),
    Caution(
        "batteries",
        gettext_noop("Batteries, aerosols, liquids"),
        gettext_noop(
            "Many are dangerous goods in the post, also inside a device. A damaged or swollen battery "
            "does not belong in a parcel at all."
        ),
        gettext_noop("Your postal operator's own list of dangerous goods, the IATA rules, the UN Model Regulations."),
        (VERDICT,),
        _words(
            "battery batteries rechargeable cordless lithium charger powerbank electronics electronic phone phones "
            "tablet laptop camera cameras drone scooter toy toys aerosol aerosols spray perfume perfumes fragrance "
            "polish paint paints lighter"
        ),
    ),
    Caution(
        "electrical",
        gettext_noop("Electrical and mended goods"),
        gettext_noop("Test safely before you sell, and say honestly what was tested, mended or is missing."),
        gettext_noop("National product-safety law; the marks of UL and the IEC's schemes."),
        (VERDICT,),
        _words("electrical electric electronics electronic appliance appliances lamp lamps heater kettle tool tools"),
    ),
    Caution(
        "restricted",
        gettext_noop("Restricted goods"),
        gettext_noop(
            "Medicines, medical devices, food, alcohol, tobacco, weapons, pesticides, wildlife products "
            "and used safety gear have their own law. Find out first."
        ),
        gettext_noop("The national regulator, such as the FDA and EPA in the US; CITES for wildlife."),
        (VERDICT,),
        _words(
            "medicine medicines medical supplement supplements vitamin vitamins food foods grocery drink drinks "
            "alcohol wine wines spirits tobacco vape knife knives weapon weapons pesticide pesticides ivory fur "
            "furs reptile helmet helmets harness"
        ),
    ),
    Caution(
        "recalls",
        gettext_noop("Recalls"),
        gettext_noop(
            "Selling recalled goods, new or used, is unlawful in many places, from home and online too. "
            "Look the item up before you buy."
        ),
        gettext_noop(
            "In the US the CPSC, NHTSA and FDA; in the EU Safety Gate; in the UK OPSS; in Canada Health "
            "Canada; for others the OECD's GlobalRecalls portal."
        ),
        (VERDICT,),
    ),
    Caution(
        "counterfeits",
        gettext_noop("Fakes"),
        gettext_noop(
            "If origin or price looks wrong, do not buy. Selling counterfeits can be a crime even without "
            "knowing. A barcode names a product; it proves neither its condition nor that it is genuine."
        ),
        gettext_noop("Customs authorities, the police, WIPO's member offices; GS1 on what a barcode says."),
        (VERDICT,),
    ),
    Caution(
        "records",
        gettext_noop("Records and income tax"),
        gettext_noop(
            "Keep proof of each purchase and each sale: day, payee, amount, item. What counts as income, "
            "what may be deducted and how long papers are kept differ by place. The figures here are no "
            "tax return."
        ),
        gettext_noop("The national tax authority (in the US: IRS Publication 583), or a licensed professional."),
        (HAUL,),
    ),
    Caution(
        "licences",
        gettext_noop("Licences"),
        gettext_noop(
            "Dealers in second-hand goods may need a licence, records or waiting times; homes and streets "
            "have their own rules."
        ),
        gettext_noop("The local authority."),
        (HAUL,),
    ),
    Caution(
        "purchase tax",
        gettext_noop("Purchase tax and resale exemption"),
        gettext_noop(
            "Buying without tax for resale usually needs registration and a certificate kept on file, and "
            "misuse is punished. Some places tax the margin instead. Set the purchase tax to what you "
            "really pay."
        ),
        gettext_noop(
            "State revenue departments and the Multistate Tax Commission's uniform certificate in the US, "
            "VAT offices elsewhere, or a licensed professional."
        ),
        (RULES,),
    ),
    Caution(
        "reporting",
        gettext_noop("Reports to authorities"),
        gettext_noop("Places that sell for you may have to tell authorities who sells how much."),
        gettext_noop(
            "In the US the FTC and the IRS; in the EU the tax authorities under DAC7; elsewhere the tax authority."
        ),
        (RULES,),
    ),
    Caution(
        "shop",
        gettext_noop("In the shop"),
        gettext_noop("Follow the shop's rules on photos and scanning, keep people out of pictures and aisles clear."),
        gettext_noop("The shop; the data-protection authority on pictures of people."),
        (LADDER,),
    ),
    Caution(
        "personal data",
        gettext_noop("Names and addresses"),
        gettext_noop("Of buyers keep little, delete it on time and protect your backups."),
        gettext_noop("The data-protection authority."),
    ),
)
_BY_NAME = {one.name: one for one in CAUTIONS}


def due(store: Store, moment: str, texts: Iterable[str] = ()) -> list[Caution]:
    """Return the cautions that matter now and were not dismissed; those about this very item come first.

    ``texts`` say what is known of the item: its category, title, flags.
    """
    said = {word for text in texts for word in _WORD.findall(text.casefold())}
    gone = _dismissed(store)
    found = [one.said() for one in CAUTIONS if moment in one.moments and one.name not in gone and one.fits(said)]
    return sorted(found, key=lambda one: not one.about)


def every(store: Store) -> list[Shown]:
    """Return all cautions, dismissed ones too."""
    gone = _dismissed(store)
    return [Shown(one.said(), gone.get(one.name)) for one in CAUTIONS]


def named(name: str) -> Caution:
    """Return one caution.

    Raises
    ------
    NotFound
        There is none of that name.
    """
    try:
        return _BY_NAME[name].said()
    except KeyError:
        raise NotFound(
            gettext("There is no caution “{name}”.", name=name[:40]), next_step=gettext("All of them stand under Help.")
        ) from None


def dismiss(store: Store, name: str) -> Caution:
    """Show a caution no longer where it matters; a second time changes nothing.

    Raises
    ------
    NotFound
        There is none of that name.
    """
    found = named(name)
    with store.write_rows() as raw:
        at = datetime.now(UTC).isoformat(timespec="seconds")
        raw.execute("INSERT INTO caution VALUES (?, ?) ON CONFLICT DO NOTHING", (name, at))
    return found


def bring_back(store: Store, name: str) -> Caution:
    """Undo `dismiss`.

    Raises
    ------
    NotFound
        There is none of that name.
    """
    found = named(name)
    with store.write_rows() as raw:
        raw.execute("DELETE FROM caution WHERE name = ?", (name,))
    return found


def _dismissed(store: Store) -> dict[str, str]:
    return dict(store.read("SELECT name, dismissed_at FROM caution"))
