"""How this server is reached: on which addresses, over which lines, and from where one request came."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal
from urllib.parse import urlsplit

from flask import current_app, request

if TYPE_CHECKING:
    from sourcing.certificates import Kept

SELF = ("127.0.0.1", "::1", "::ffff:127.0.0.1")
PASSED_ON = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Via")


@dataclass(frozen=True)
class Reach:
    """How a server is reached, as the command that started it knows.

    Parameters
    ----------
    way : {"here", "plain", "https", "proxy"}
        This computer alone; the home network in plain; encrypted by a root of our own; behind a reverse proxy.
    link : str
        Where phones find the pages, without a path; empty on this computer alone.
    home : str
        Where this computer finds them.
    trust : str
        The page to fetch the root from in plain HTTP, whole; empty without a root.
    address : str
        This computer's own address on the network: a request from there is one of this computer.
    kept : Kept or None
        The root phones have to trust.
    """

    way: Literal["here", "plain", "https", "proxy"] = "here"
    link: str = ""
    home: str = ""
    trust: str = ""
    address: str = ""
    kept: Kept | None = None


def reach() -> Reach:
    """Return how the app that answers this request is reached."""
    found: Reach = current_app.extensions["sourcing"].reach
    return found


def secure() -> bool:
    """Say whether the browser gives this page the live camera and work without signal (W3C Secure Contexts, 3.1)."""
    return request.is_secure or at_home()


def at_home() -> bool:
    """Say whether this request names the computer itself, so that it never was on a network."""
    return reach().way != "proxy" and urlsplit(f"//{request.host}").hostname in ("localhost", "127.0.0.1", "::1")


def from_home() -> bool:
    """Say whether this request comes from the computer that serves, as far as can be told.

    Behind a proxy, said or not, every request would seem to: then it is never so.
    """
    if reach().way == "proxy" or any(name in request.headers for name in PASSED_ON):
        return False
    return request.remote_addr in SELF or (bool(reach().address) and request.remote_addr == reach().address)


def only_the_root() -> bool:
    """Say whether this line is the plain one beside HTTPS, which hands out the root and nothing else."""
    return reach().way == "https" and not request.is_secure and not at_home()
