"""The roots and leaves of one installation, kept beside its data; which of them serves now.

    https/DAY-DIGITS/root.pem       what phones trust
    https/DAY-DIGITS/leaf-01.pem    key and certificate of the first year, and so on; readable by the owner alone

A root is for fixed names. When the computer gets another address, another root is made beside the first, and the first
serves again when the old address is back.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding

from sourcing.certificates.issue import issue
from sourcing.certificates.names import HERE
from sourcing.day import day_writer
from sourcing.errors import Refused
from sourcing.language import gettext, gettext_noop

FOLDER = "https"
WRITTEN = datetime(2026, 11, 1, tzinfo=UTC)  # these lines were: a clock before that is wrong
SPARE = timedelta(days=30)  # a root that ends sooner is replaced at the next start
OVERLAP = timedelta(days=16)  # a leaf serves from so long after its beginning, for clocks that are slow
_FIX = gettext_noop("Move the folder away; the next start makes a new root, which every phone must trust anew.")


@dataclass(frozen=True)
class Kept:
    """One root with its leaves, in a folder of its own."""

    folder: Path

    @cached_property
    def root(self) -> x509.Certificate:
        """The root's certificate.

        Raises
        ------
        Refused
            The file cannot be read.
        """
        return _certificate(self.folder / "root.pem")

    @cached_property
    def leaves(self) -> list[tuple[Path, x509.Certificate]]:
        """Every leaf, the earliest first."""
        found = [(path, _certificate(path)) for path in sorted(self.folder.glob("leaf-*.pem"))]
        if not found:
            raise Refused(gettext("{folder} holds no leaf.", folder=self.folder), next_step=gettext(_FIX))
        return found

    @cached_property
    def names(self) -> frozenset[str]:
        """The names and addresses it is for."""
        permitted = self.root.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
        return frozenset(str(one.value).removesuffix("/32").removesuffix("/128") for one in permitted)

    @property
    def label(self) -> str:
        """The root's name, as a phone lists it."""
        return str(self.root.subject.rfc4514_string()).removeprefix("CN=")

    @property
    def fingerprint(self) -> str:
        """The root's SHA-256 fingerprint: 32 pairs of digits with colons between, as phones write it."""
        return self.root.fingerprint(SHA256()).hex(":").upper()

    @property
    def ends(self) -> datetime:
        """When the last leaf ends, and the root with it."""
        return self.root.not_valid_after_utc

    def der(self) -> bytes:
        """Return the root as phones take it in."""
        return self.root.public_bytes(Encoding.DER)

    def pem(self) -> bytes:
        """Return the root as text."""
        return self.root.public_bytes(Encoding.PEM)

    def serving(self, now: datetime) -> tuple[Path, x509.Certificate]:
        """Return the leaf to show now, as file and certificate.

        Raises
        ------
        Refused
            The clock is before the first leaf or after the last one.
        """
        begun = [one for one in self.leaves if one[1].not_valid_before_utc + OVERLAP <= now] or self.leaves[:1]
        path, leaf = begun[-1]
        if not leaf.not_valid_before_utc <= now <= leaf.not_valid_after_utc:
            made = self.root.not_valid_before_utc
            raise Refused(
                gettext(
                    "This computer's clock says {now} UTC, when no certificate of {label} holds.",
                    now=f"{now:%Y-%m-%d %H:%M}",
                    label=self.label,
                ),
                gettext("They hold from {made} to {ends}.", made=day_writer()(made), ends=day_writer()(self.ends)),
                gettext("Set the clock and start again. If the clock is right: --new-root."),
            )
        return path, leaf


@dataclass(frozen=True)
class Choice:
    """The root that serves, whether it was made just now, and the one before it."""

    kept: Kept
    made: bool
    before: Kept | None  # the newest that does not hold these names; a phone may still trust it


def choose(beside: Path, needed: Sequence[str], also: Sequence[str], now: datetime, *, anew: bool = False) -> Choice:
    """Return the newest root that holds all the needed names, made where there is none.

    Parameters
    ----------
    beside : Path
        The data folder.
    needed, also : sequences of str
        Names and addresses as `names.reachable` returns them: those it must be for, and those a new one is for too.
    anew : bool
        Make a new one in any case.

    Raises
    ------
    Refused
        The clock is wrong, or what is kept cannot be read.
    OSError
        The folder cannot be written to.
    """
    if now < WRITTEN:
        raise Refused(
            gettext("This computer's clock says {now} UTC, which is past.", now=f"{now:%Y-%m-%d %H:%M}"),
            gettext("A certificate made now would hold at the wrong time."),
            gettext("Set the clock and start again."),
        )
    place = beside / FOLDER
    known = sorted((Kept(path) for path in place.glob("*-*") if path.is_dir()), key=lambda one: one.ends)
    fit = [one for one in known if set(needed) <= one.names | set(HERE) and one.ends - SPARE > now]
    if fit and not anew:
        _close_to_others(fit[-1].folder)
        return Choice(fit[-1], False, None)
    return Choice(_made(place, (*needed, *also), now), True, known[-1] if known else None)


def _made(place: Path, names: Sequence[str], now: datetime) -> Kept:
    """Write a new root and its leaves, all or nothing."""
    place.mkdir(parents=True, exist_ok=True, mode=0o700)
    root, leaves = issue(names, now)
    work = Path(tempfile.mkdtemp(prefix=".new", dir=place))  # a folder that its owner alone can enter
    try:
        for path, content in (
            (work / "root.pem", root.public_bytes(Encoding.PEM)),
            *((work / f"leaf-{turn:02}.pem", leaf.pem()) for turn, leaf in enumerate(leaves, 1)),
        ):
            path.touch(mode=0o600)
            path.write_bytes(content)
        target = place / f"{now:%Y-%m-%d}-{root.fingerprint(SHA256()).hex()[:8]}"
        work.rename(target)
    except BaseException:
        shutil.rmtree(work, ignore_errors=True)
        raise
    return Kept(target)


def _close_to_others(folder: Path) -> None:
    """Take back what a copy or a careless command may have given to other users of the computer."""
    for path in (folder, *folder.glob("*.pem")):
        if path.stat().st_mode & 0o077:
            path.chmod(0o700 if path is folder else 0o600)


def _certificate(path: Path) -> x509.Certificate:
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except (ValueError, FileNotFoundError) as error:
        raise Refused(gettext("{path} cannot be read as a certificate.", path=path), next_step=gettext(_FIX)) from error
