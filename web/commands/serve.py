"""``serve``: the pages, on this computer alone, on the home network behind an access key, or behind a proxy."""

from __future__ import annotations

import signal
import socket
import sys
from datetime import UTC, datetime
from types import FrameType
from typing import TYPE_CHECKING, Any, NoReturn

import click

from sourcing.language import gettext, ngettext
from web.commands.frame import FAILED, data_option, data_place, failed, folder_of, open_data, say, working
from web.commands.serving import Serving, Way, keep_serving, show_key, show_root
from web.commands.words import Command

if TYPE_CHECKING:
    from flask import Flask

    from sourcing.certificates import Choice
    from sourcing.storage import Store

LOOPBACK = ("localhost", "127.0.0.1", "[::1]")
EVERY = ("0.0.0.0", "::")  # noqa: S104
LARGEST_BODY = 116_000_000  # the largest comps file and its form around it; routes set lower limits of their own


@click.command(cls=Command)
@click.option("--host", default="", help="Address to listen on; 127.0.0.1 without --lan or --https, else every one.")
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True, help="Port to listen on.")
@click.option("--lan", is_flag=True, help="Serve the home network in plain HTTP, behind an access key as a QR code.")
@click.option(
    "--https", is_flag=True, help="Serve the home network encrypted, by a private root that phones trust once."
)
@click.option("--name", "names", multiple=True, help="Name or address phones reach this computer by; may be repeated.")
@click.option("--root-port", type=click.IntRange(1, 65535), help="With --https: plain port of the root; the next one.")
@click.option("--new-root", is_flag=True, help="With --https: make a new root, which every phone must trust anew.")
@click.option(
    "--behind-proxy",
    "proxy",
    is_flag=False,
    flag_value="127.0.0.1",
    default="",
    help="Serve a reverse proxy alone, at this address if given, and believe what it says of the visitor.",
)
@click.option("--new-key", is_flag=True, help="Hand out a new access key instead of the live one.")
@click.option("--no-link", is_flag=True, help="Do not print the link with the key; `sourcing access link` shows it.")
@click.option("--samples-if-empty", is_flag=True, help="Load the invented sample comps into an empty database.")
@data_option
@click.pass_context
def serve(ctx: click.Context, /, samples_if_empty: bool, **words: Any) -> None:
    """Serve the pages until Ctrl-C.

    Example: sourcing serve --https
    """
    asked = _checked(**words)
    for port, option in zip(asked.ports, ("--port", "--root-port"), strict=False):
        _refuse_taken(asked.host, port, option)
    if samples_if_empty:
        _load_samples(open_data(ctx))
    choice = _root(ctx, asked, new=words["new_root"]) if asked.way == "https" else None
    app = _app(ctx, asked, choice)
    try:
        server = _server(app, asked, choice)
    except OSError as error:
        _refuse(asked.host, asked.port, error)
    signal.signal(signal.SIGTERM, _stop)
    click.echo(
        gettext("Serving the home network, encrypted.  (Ctrl-C stops)")
        if choice
        else gettext("Open {address}  (Ctrl-C stops)", address=f"{asked.home}/")
    )
    if choice:
        show_root(choice, asked)
    if asked.unfound:
        say(
            gettext(
                "No network was found: phones cannot come in yet. Connect this computer and start again, or give "
                "--name."
            )
        )
    if asked.way == "here":
        click.echo(
            gettext("To let a phone in: sourcing serve --https (live camera, work without signal), or --lan (plain).")
        )
        click.echo(gettext("What each means: {address}", address=f"{asked.home}/connect"))
    else:
        keep_serving(folder_of(data_place(ctx)), asked)
        show_key(open_data(ctx), app.config["SECRET_KEY"], asked, new=words["new_key"], link=not words["no_link"])
    sys.stdout.flush()
    from web.ahead import begin

    ahead = begin(app)
    try:
        server.run()  # comes back from Ctrl-C and SIGTERM once the answers under way are out
    finally:
        ahead.close()
    if asked.way != "https":
        server.close()
    say(gettext("Stopped."))


def _checked(
    *,
    host: str,
    port: int,
    lan: bool,
    https: bool,
    names: tuple[str, ...],
    root_port: int | None,
    new_root: bool,
    proxy: str,
    new_key: bool,
    no_link: bool,
) -> Serving:
    """Return how to serve, or say which options do not go together."""
    from sourcing.certificates.names import as_address, reachable

    if proxy and (lan or https):
        raise click.UsageError(
            gettext("Behind a proxy it is the proxy that serves the network: leave out --lan and --https.")
        )
    way: Way = "proxy" if proxy else "https" if https else "plain" if lan else "here"
    if host and host not in LOOPBACK and f"[{host}]" not in LOOPBACK and way == "here":
        raise click.UsageError(gettext("Serving other machines needs --lan or --https, which ask for the access key."))
    if (new_key or no_link or names) and way == "here":
        word = "--new-key" if new_key else "--no-link" if no_link else "--name"
        raise click.UsageError(gettext("{option} goes with --https, --lan or --behind-proxy.", option=word))
    if (new_root or root_port) and not https:
        word = "--new-root" if new_root else "--root-port"
        raise click.UsageError(gettext("{option} goes with --https.", option=word))
    if proxy and not names:
        raise click.UsageError(gettext("--behind-proxy needs --name: the host name that the proxy passes on."))
    if proxy and as_address(proxy) is None:
        raise click.UsageError(
            gettext("--behind-proxy takes the proxy's address, such as 127.0.0.1, not “{text}”.", text=proxy)
        )
    beside = root_port or (port + 1 if port < 65535 else port - 1)
    if https and beside == port:
        raise click.UsageError(gettext("--root-port must differ from --port: one port cannot be plain and encrypted."))
    known = tuple(reachable(name) for name in names)
    listening = host or (EVERY[0] if way in ("plain", "https") else "127.0.0.1")
    return Serving(way, listening, port, beside if https else None, known, _lan_address(host, way), proxy)


def _root(ctx: click.Context, asked: Serving, *, new: bool) -> Choice:
    """Return the root for the names phones use; without any, for this computer's address."""
    from sourcing.certificates import choose

    folder, address = folder_of(data_place(ctx)), (asked.address,)
    choice = choose(folder, asked.names or address, address, datetime.now(UTC), anew=new)
    choice.kept.serving(datetime.now(UTC))  # refuses a wrong clock before a port is taken
    return choice


def _app(ctx: click.Context, asked: Serving, choice: Choice | None) -> Flask:
    from web.app import create_app
    from web.reach import Reach

    reach = Reach(asked.way, asked.link, asked.home, asked.trust, asked.address, choice.kept if choice else None)
    hosts = (*LOOPBACK, *(asked.hosts if asked.way != "here" else ()))
    return create_app(data_place(ctx), mode="loopback" if asked.way == "here" else "lan", hosts=hosts, reach=reach)


def _server(app: Flask, asked: Serving, choice: Choice | None) -> Any:
    if choice:
        from web.secure_server import SecureServer

        assert asked.root_port
        return SecureServer(app, choice.kept, asked.host, asked.port, asked.root_port, LARGEST_BODY)
    from waitress import create_server

    if asked.way == "proxy":
        from web.behind_proxy import BehindProxy

        app.wsgi_app = BehindProxy(app.wsgi_app, asked.proxy)  # type: ignore[method-assign]
    return create_server(app, host=asked.host, port=asked.port, threads=6, ident="", max_request_body_size=LARGEST_BODY)


def _stop(_number: int, _frame: FrameType | None) -> NoReturn:
    raise SystemExit(0)


def _refuse_taken(host: str, port: int, option: str) -> None:
    """Look before the samples are loaded, so that a taken port is said at once."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            _refuse(host, port, error, option)


def _refuse(host: str, port: int, error: OSError, option: str = "--port") -> NoReturn:
    told = {"port": port, "why": error.strerror or error, "option": option}
    say(
        failed(
            gettext("Port {port} cannot be used: {why}. Name another with {option}, or end what uses it.", **told)
            if host in EVERY
            else gettext(
                "Port {port} of {host} cannot be used: {why}. Name another with {option}, or end what uses it.",
                host=host,
                **told,
            )
        )
    )
    raise SystemExit(FAILED) from error


def _load_samples(store: Store) -> None:
    from sourcing.samples import is_empty, load_samples

    if is_empty(store):
        say(gettext("First run: loading the invented sample comps ..."))
        with working(gettext("Loading and fitting")):
            new = load_samples(store)
        say(ngettext("{count} comp loaded and fitted.", "{count} comps loaded and fitted.", new))
    store.close()


def _lan_address(host: str, way: str) -> str:
    if host and host not in EVERY:
        return host.strip("[]")
    if way in ("here", "proxy"):
        return "127.0.0.1"
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): picks the route, sends nothing
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
