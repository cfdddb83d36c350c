"""The names and addresses a server is reached by, as certificates and host lists write them."""

from __future__ import annotations

import ipaddress
import re
from ipaddress import IPv4Address, IPv6Address

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop

Address = IPv4Address | IPv6Address
HERE = ("localhost", "127.0.0.1", "::1")
"""The computer itself, in every certificate: a root that permits no DNS name at all would permit every one."""
_LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
_ACCEPTED = gettext_noop("Accepted is a name with a dot, such as box.home.arpa, or an address, such as 192.0.2.7.")


def reachable(text: str) -> str:
    """Return a name or address in the one way it is written everywhere: small letters, no port, no brackets.

    A name of one label is refused, for a certificate's constraint reaches over all that is below a name, and a single
    label may be a whole top-level domain (RFC 5280, section 4.2.1.10).

    Raises
    ------
    BadInput
        It is neither a host name (RFC 1123, section 2.1) nor an address that another device could reach.
    """
    given = text.strip().lower().rstrip(".")
    bare = given.removeprefix("[").removesuffix("]")
    try:
        number = ipaddress.ip_address(bare)
    except ValueError:
        number = None
    if number is not None:
        return _checked(number, text)
    if given == "localhost":
        return given
    labels = given.split(".")
    if "://" in given or "/" in given or ":" in given:
        raise BadInput(
            gettext("“{text}” is more than a name.", text=text),
            gettext(_ACCEPTED),
            gettext("Leave out https://, the port and the path."),
        )
    if len(labels) < 2 or len(given) > 253 or not all(_LABEL.fullmatch(label) for label in labels):
        raise BadInput(
            gettext("“{text}” is no name or address that a certificate can be made for.", text=text),
            gettext(_ACCEPTED),
            gettext("A name in other letters is written in its xn-- form."),
        )
    if labels[-1].isdigit():
        raise BadInput(
            gettext("“{text}” is no address.", text=text),
            gettext(_ACCEPTED),
            gettext("An IPv4 address has four numbers from 0 to 255."),
        )
    return given


def _checked(number: Address, text: str) -> str:
    if number.is_unspecified or number.is_multicast or (isinstance(number, IPv6Address) and number.scope_id):
        raise BadInput(
            gettext("“{text}” is no address that one device can be reached by.", text=text), gettext(_ACCEPTED)
        )
    return str(number)


def as_address(name: str) -> Address | None:
    """Return a name of ours as an address; None where it is a DNS name."""
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def in_address_bar(name: str) -> str:
    """Return a name of ours as it stands in an address bar: IPv6 in brackets."""
    return f"[{name}]" if ":" in name else name
