"""Certificates for serving the home network over HTTPS: a private root that can sign nothing more, and its leaves."""

from sourcing.certificates.kept import Choice, Kept, choose
from sourcing.certificates.names import reachable

__all__ = ["Choice", "Kept", "choose", "reachable"]
