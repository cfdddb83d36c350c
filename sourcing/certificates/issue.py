"""Make a private root and every leaf it will ever sign; the root's private key is never kept.

The root is constrained to the very names of this server (RFC 5280, section 4.2.1.10), so that not even its key could
make a certificate for another site. Its key signs all leaves at once, each for the time after the one before, and is
forgotten: it is never written anywhere. So the leaf can be renewed for years without a signature, and without a phone
having to trust anything anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Network, IPv6Network, ip_network

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from sourcing.certificates.names import HERE, as_address

LEAVES = 10
LASTS = timedelta(days=397)  # under the 398 days of the CA/Browser Forum's baseline requirements, section 6.3.2
EVERY = timedelta(days=365)  # so two neighbours hold together for 32 days
EARLIER = timedelta(days=1)  # for a phone whose clock is somewhat slow


@dataclass(frozen=True)
class Leaf:
    """One certificate that a server shows, with its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    def pem(self) -> bytes:
        """Return key and certificate, as TLS libraries load them."""
        key = self.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        return key + self.certificate.public_bytes(Encoding.PEM)


def issue(names: Sequence[str], now: datetime) -> tuple[x509.Certificate, list[Leaf]]:
    """Return a new root and its leaves, the first one valid since yesterday.

    Parameters
    ----------
    names : sequence of str
        Names and addresses as `names.reachable` returns them; the computer's own are added.
    now : datetime
        The time of making, with a time zone.
    """
    names = tuple(dict.fromkeys((*names, *HERE)))
    root_key = ec.generate_private_key(ec.SECP256R1())
    start = (now - EARLIER).replace(microsecond=0)
    root = _root(names, root_key, now, start, start + EVERY * (LEAVES - 1) + LASTS)
    return root, [_leaf(names, root, root_key, start + EVERY * turn) for turn in range(LEAVES)]


def _root(
    names: Sequence[str], key: ec.EllipticCurvePrivateKey, now: datetime, start: datetime, end: datetime
) -> x509.Certificate:
    serial = x509.random_serial_number()
    label = f"Sourcing private root {now:%Y-%m-%d} {serial % 0x10000:04x}"  # told apart in a phone's list
    return (
        _begun(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, label)]), key, start, end)
        .issuer_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, label)]))
        .serial_number(serial)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints([_subtree(name) for name in names], None), critical=True)
        .sign(key, SHA256())
    )


def _leaf(names: Sequence[str], root: x509.Certificate, root_key: ec.EllipticCurvePrivateKey, start: datetime) -> Leaf:
    key = ec.generate_private_key(ec.SECP256R1())
    # No name in the common name: readers that still look at it would hold an address to be one (OpenSSL does).
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Sourcing server")])
    certificate = (
        _begun(subject, key, start, start + LASTS)
        .issuer_name(root.subject)
        .serial_number(x509.random_serial_number())
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False)
        .sign(root_key, SHA256())
    )
    return Leaf(certificate, key)


def _begun(
    subject: x509.Name, key: ec.EllipticCurvePrivateKey, start: datetime, end: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .public_key(key.public_key())
        .not_valid_before(start)
        .not_valid_after(end - timedelta(seconds=1))  # both ends count (RFC 5280, section 4.1.2.5)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )


def _general(name: str) -> x509.GeneralName:
    address = as_address(name)
    return x509.DNSName(name) if address is None else x509.IPAddress(address)


def _subtree(name: str) -> x509.GeneralName:
    """Return what the root may sign: a name and what is below it, or exactly one address."""
    if as_address(name) is None:
        return x509.DNSName(name)
    network = ip_network(name)
    assert isinstance(network, (IPv4Network, IPv6Network))
    return x509.IPAddress(network)
