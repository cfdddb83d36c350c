"""``serve``: the pages, on this computer alone or on the home network behind an access key."""

from __future__ import annotations

import signal
import socket
import sys
from types import FrameType
from typing import TYPE_CHECKING, Any, NoReturn

import click

from web.commands.frame import FAILED, data_option, data_place, open_data, say, working

if TYPE_CHECKING:
    from sourcing.storage import Store

LOOPBACK = ("localhost", "127.0.0.1", "[::1]")
EVERY = ("0.0.0.0", "::")  # noqa: S104
LARGEST_BODY = 116_000_000  # the largest comps file and its form around it; routes set lower limits of their own


@click.command()
@click.option("--host", default="", help="Address to listen on; 127.0.0.1 without --lan, every one with it.")
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True, help="Port to listen on.")
@click.option("--lan", is_flag=True, help="Serve the home network too, behind an access key shown as a QR code.")
@click.option("--new-key", is_flag=True, help="With --lan: hand out a new access key instead of the live one.")
@click.option("--samples-if-empty", is_flag=True, help="Load the invented sample comps into an empty database.")
@data_option
@click.pass_context
def serve(ctx: click.Context, host: str, port: int, lan: bool, new_key: bool, samples_if_empty: bool) -> None:
    """Serve the pages until Ctrl-C.

    Example: sourcing serve --lan
    """
    from waitress import create_server

    from web.app import create_app

    if host and f"[{host}]" not in LOOPBACK and host not in LOOPBACK and not lan:
        raise click.UsageError("Serving other machines needs --lan, which asks every visitor for the access key.")
    if new_key and not lan:
        raise click.UsageError("--new-key goes with --lan.")
    _refuse_taken(host or "127.0.0.1", port)
    if samples_if_empty:
        _load_samples(open_data(ctx))
    address = _lan_address(host) if lan else (host or "127.0.0.1")
    app = create_app(
        data_place(ctx), mode="lan" if lan else "loopback", hosts=(*LOOPBACK, address) if lan else LOOPBACK
    )
    try:
        server = create_server(
            app,
            host=host or (EVERY[0] if lan else "127.0.0.1"),
            port=port,
            threads=6,
            ident="",
            max_request_body_size=LARGEST_BODY,
        )
    except OSError as error:
        _refuse(host, port, error)
    signal.signal(signal.SIGTERM, _stop)
    click.echo(f"Open http://{address}:{port}/  (Ctrl-C stops)")
    if lan:
        _show_key(open_data(ctx), app.config["SECRET_KEY"], address, port, new=new_key)
    else:
        click.echo("To let a phone in over the home network: sourcing serve --lan")
    sys.stdout.flush()
    server.run()  # comes back from Ctrl-C and SIGTERM once the answers under way are out
    server.close()
    say("Stopped.")


def _stop(_number: int, _frame: FrameType | None) -> NoReturn:
    raise SystemExit(0)


def _refuse_taken(host: str, port: int) -> None:
    """Look before the samples are loaded, so that a taken port is said at once."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            _refuse(host, port, error)


def _refuse(host: str, port: int, error: OSError) -> NoReturn:
    where = f"Port {port} of {host}" if host else f"Port {port}"
    say(f"Error: {where} cannot be used: {error.strerror}. Name another with --port, or end what uses it.")
    raise SystemExit(FAILED) from error


def _load_samples(store: Store) -> None:
    from sourcing.samples import is_empty, load_samples

    if is_empty(store):
        say("First run: loading the invented sample comps ...")
        with working("Loading and fitting"):
            new = load_samples(store)
        say(f"{new} comps loaded and fitted.")
    store.close()


def _show_key(store: Store, secret: str, address: str, port: int, *, new: bool) -> None:
    import segno

    from sourcing.access import grant, live

    known = None if new else live(store, secret)
    link = f"http://{address}:{port}/enter/{known or grant(store, secret)}"
    click.echo("Scan this with the phone. The link is not encrypted: use it on your own network only.")
    qr: Any = segno.make(link)
    qr.terminal(compact=True)
    click.echo(link)
    if known:
        click.echo("This is the key of the last start. For another beside it: --new-key")
    click.echo("To take every key back: sourcing access revoke")


def _lan_address(host: str) -> str:
    if host and host not in EVERY:
        return host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): picks the route, sends nothing
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
