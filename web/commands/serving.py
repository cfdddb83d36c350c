"""What `serve` says of the way it serves, and what it leaves for `access link` to say again."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from sourcing.errors import NotFound
from sourcing.language import gettext

if TYPE_CHECKING:
    from sourcing.certificates import Choice
    from sourcing.storage import Store

Way = Literal["here", "plain", "https", "proxy"]
FILE = "serving.json"  # where a running server is found; holds no key


@dataclass(frozen=True)
class Serving:
    """One way to serve, as the options said.

    Parameters
    ----------
    way : {"here", "plain", "https", "proxy"}
        This computer alone; the network in plain; encrypted; a reverse proxy alone.
    host, port : str and int
        Where to listen.
    root_port : int or None
        Plain port beside an encrypted one.
    names : tuple of str
        Names and addresses that phones use, the first one in links; may be empty.
    address : str
        This computer's own on the network.
    proxy : str
        The proxy's address.
    """

    way: Way
    host: str
    port: int
    root_port: int | None
    names: tuple[str, ...]
    address: str
    proxy: str

    @property
    def ports(self) -> tuple[int, ...]:
        """Every port that is listened on."""
        return (self.port,) if self.root_port is None else (self.port, self.root_port)

    @property
    def unfound(self) -> bool:
        """Whether the network was to be served and there is none."""
        return self.host in ("0.0.0.0", "::") and self.address == "127.0.0.1" and not self.names  # noqa: S104

    @property
    def hosts(self) -> tuple[str, ...]:
        """The host names that are answered to, beside the computer's own."""
        return tuple(_bar(name) for name in (*self.names, self.address))

    @property
    def link(self) -> str:
        """Where phones find the pages."""
        name = _bar((*self.names, self.address)[0])
        if self.way == "proxy":
            return f"https://{name}"
        return {"plain": f"http://{name}:{self.port}", "https": f"https://{name}:{self.port}"}.get(self.way, "")

    @property
    def home(self) -> str:
        """Where this computer finds them; on a plain line to itself when phones have an encrypted one."""
        if self.way == "proxy":
            return self.link
        if self.way == "https":
            reached = "localhost" if self.host in ("0.0.0.0", "::", "127.0.0.1", "::1") else ""  # noqa: S104
            return f"http://{reached}:{self.root_port}" if reached else self.link
        return f"http://{_bar(self.address)}:{self.port}"

    @property
    def trust(self) -> str:
        """Where phones find the root, in plain HTTP."""
        return f"http://{_bar((*self.names, self.address)[0])}:{self.root_port}/trust" if self.root_port else ""


def show_root(choice: Choice, asked: Serving) -> None:
    """Say what a phone has to trust, and plainly when it has to trust anew."""
    kept = choice.kept
    if choice.made and choice.before:
        click.echo(
            gettext(
                "A NEW ROOT was made for {names}: every phone must trust it anew (step 1), and should remove the old "
                "one, “{old}”. Comps and keys stay as they were.",
                names=", ".join((*asked.names, asked.address)), old=choice.before.label,
            )
        )  # fmt: skip
    click.echo(
        gettext(
            "1. Once on each phone: open {address} and trust “{root}”, SHA-256 fingerprint",
            address=asked.trust, root=kept.label,
        )
    )  # fmt: skip
    half = len(kept.fingerprint) // 2
    click.echo(f"   {kept.fingerprint[: half + 1]}\n   {kept.fingerprint[half + 1 :]}")


def show_key(store: Store, secret: str, asked: Serving, *, new: bool, link: bool) -> None:
    """Print the link that lets a phone in, with its QR code, or where to get it."""
    from sourcing.access import grant, live

    known = None if new else live(store, secret)
    key = known or grant(store, secret)
    if not link:
        click.echo(gettext("The link with the access key: sourcing access link"))
        return
    if asked.way == "plain":
        click.echo(gettext("Scan this with the phone. The link is not encrypted: use it on your own network only."))
        click.echo(
            gettext(
                "No live camera and no work without signal this way: {address} says what helps.",
                address=f"{asked.home}/connect",
            )
        )
    else:
        scan = gettext("Scan this with the phone:")
        click.echo(f"2. {scan}" if asked.way == "https" else scan)
    _show_link(f"{asked.link}/enter/{key}")
    if asked.way == "https" and asked.home != asked.link:
        click.echo(gettext("On this computer: {address}", address=f"{asked.home}/enter/{key}"))
    if known:
        click.echo(gettext("This is the key of the last start. For another beside it: --new-key"))
    click.echo(gettext("To take every key back: sourcing access revoke"))


def keep_serving(folder: Path, asked: Serving) -> None:
    """Leave word of how this server is reached, for its owner alone."""
    handle = os.open(folder / FILE, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump({"link": asked.link, "trust": asked.trust}, file)


def show_link_again(folder: Path, store: Store, secret: str) -> None:
    """Print the link of the server that was started last.

    Raises
    ------
    NotFound
        None was started for the network, or its keys were all taken back.
    """
    from sourcing.access import live

    try:
        said = json.loads((folder / FILE).read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):
        said = {}
    key = live(store, secret)
    if not said.get("link") or key is None:
        raise NotFound(
            gettext("No link leads in."), next_step=gettext("Start the server first: sourcing serve --https, or --lan.")
        )
    if said["trust"]:
        click.echo(
            gettext("Once on each phone: open {address} and trust its root; then scan this.", address=said["trust"])
        )
    _show_link(f"{said['link']}/enter/{key}")


def _show_link(link: str) -> None:
    import segno

    qr: Any = segno.make(link)
    qr.terminal(compact=True)
    click.echo(link)


def _bar(name: str) -> str:
    return f"[{name}]" if ":" in name else name
