"""The private root and its leaves, read back by two others: OpenSSL's command and Python's ssl."""

from __future__ import annotations

import socket
import ssl
import stat
import subprocess
import threading
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, load_pem_private_key
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from sourcing.certificates import Kept, choose, reachable
from sourcing.certificates.issue import issue
from sourcing.errors import BadInput, Refused

NOW = datetime.now(UTC)
NAMES = ("box.home.arpa", "192.0.2.7", "fd00::2")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Kept:
    choice = choose(tmp_path_factory.mktemp("data"), NAMES, (), NOW)
    assert choice.made
    assert choice.before is None
    return choice.kept


def test_the_root_may_sign_for_its_names_alone(kept: Kept) -> None:
    extensions = kept.root.extensions
    limits = extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    assert limits.value.excluded_subtrees is None
    said = {str(one.value) for one in limits.value.permitted_subtrees or ()}
    assert said == {"box.home.arpa", "localhost", "192.0.2.7/32", "127.0.0.1/32", "fd00::2/128", "::1/128"}
    assert kept.names == {*NAMES, "localhost", "127.0.0.1", "::1"}
    basic = extensions.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)
    usage = extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    assert usage.value.key_cert_sign
    assert {usage.value.digital_signature, usage.value.crl_sign, usage.value.key_agreement} == {False}


def test_every_leaf_is_for_servers_and_short(kept: Kept) -> None:
    ends = None
    for path, leaf in kept.leaves:
        lasts = leaf.not_valid_after_utc - leaf.not_valid_before_utc + timedelta(seconds=1)  # both ends count
        assert lasts <= timedelta(days=397)
        assert ends is None or leaf.not_valid_before_utc + timedelta(days=30) < ends  # no gap, and time to change over
        ends = leaf.not_valid_after_utc
        extensions = leaf.extensions
        assert not extensions.get_extension_for_class(x509.BasicConstraints).value.ca
        usage = extensions.get_extension_for_class(x509.KeyUsage).value
        assert usage.digital_signature
        assert not usage.key_cert_sign
        purposes = extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
        assert list(purposes) == [ExtendedKeyUsageOID.SERVER_AUTH]
        names = extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        assert {"box.home.arpa", "localhost"} == set(names.get_values_for_type(x509.DNSName))
        leaf.verify_directly_issued_by(kept.root)
        key = load_pem_private_key(path.read_bytes(), None)
        assert isinstance(key, ec.EllipticCurvePrivateKey)
        assert key.public_key() == leaf.public_key()
    assert ends == kept.ends


def test_no_file_holds_the_roots_key_and_all_are_the_owners_alone(kept: Kept) -> None:
    for path in kept.folder.parent.rglob("*"):
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600)
        if path.is_file() and b"PRIVATE KEY" in path.read_bytes():
            key = load_pem_private_key(path.read_bytes(), None)
            assert isinstance(key, ec.EllipticCurvePrivateKey)
            assert key.public_key() != kept.root.public_key()
    assert b"PRIVATE KEY" not in (kept.folder / "root.pem").read_bytes()


def openssl(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["openssl", *words], capture_output=True, text=True, timeout=30)


def test_openssl_reads_them_the_same_way(kept: Kept) -> None:
    root, leaf = str(kept.folder / "root.pem"), str(kept.leaves[0][0])
    strict = ("verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", root)
    for which in (("-verify_hostname", "box.home.arpa"), ("-verify_ip", "192.0.2.7"), ("-verify_ip", "fd00::2")):
        assert openssl(*strict, *which, leaf).returncode == 0
    assert openssl(*strict, "-verify_hostname", "other.home.arpa", leaf).returncode != 0
    text = openssl("x509", "-in", root, "-noout", "-text").stdout
    assert "X509v3 Name Constraints: critical" in text
    assert "CA:TRUE, pathlen:0" in text
    shown = openssl("x509", "-in", root, "-noout", "-fingerprint", "-sha256").stdout
    assert shown.strip().split("=")[1] == kept.fingerprint
    assert kept.fingerprint.count(":") == 31


@pytest.mark.parametrize(
    ("name", "inside"),
    [
        ("box.home.arpa", True),
        ("192.0.2.7", True),
        ("bank.example", False),
        ("home.arpa", False),
        ("192.0.2.8", False),
        ("fd00::3", False),
    ],
)
def test_not_even_the_roots_key_could_vouch_for_another(
    name: str, inside: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catch the root's key on its way, sign a stranger with it, and let OpenSSL judge the chain."""
    made: list[ec.EllipticCurvePrivateKey] = []
    real = ec.generate_private_key

    def catching(curve: ec.EllipticCurve) -> ec.EllipticCurvePrivateKey:
        made.append(real(curve))
        return made[-1]

    monkeypatch.setattr(ec, "generate_private_key", catching)
    root, _ = issue(NAMES, NOW)
    assert made[0].public_key() == root.public_key()
    own = real(ec.SECP256R1())
    try:
        said: x509.GeneralName = x509.IPAddress(ip_address(name))
    except ValueError:
        said = x509.DNSName(name)
    stranger = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "a stranger")]))
        .issuer_name(root.subject)
        .public_key(own.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW - timedelta(days=1))
        .not_valid_after(NOW + timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([said]), critical=False)
        .sign(made[0], SHA256())
    )
    (tmp_path / "root.pem").write_bytes(root.public_bytes(Encoding.PEM))
    (tmp_path / "stranger.pem").write_bytes(stranger.public_bytes(Encoding.PEM))
    judged = openssl("verify", "-CAfile", str(tmp_path / "root.pem"), str(tmp_path / "stranger.pem"))
    assert (judged.returncode == 0) is inside, judged.stderr
    assert inside or "permitted subtree violation" in judged.stderr


def shaken(kept: Kept, name: str, trusted: bool) -> str:
    """Let a client of Python's ssl meet a server that shows the leaf; its words where it refuses."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(kept.serving(NOW)[0])
    client = ssl.create_default_context(cafile=kept.folder / "root.pem") if trusted else ssl.create_default_context()
    here, there = socket.socketpair()

    def serve() -> None:
        try:
            server.wrap_socket(there, server_side=True).close()
        except OSError:
            there.close()

    beside = threading.Thread(target=serve)
    beside.start()
    try:
        with client.wrap_socket(here, server_hostname=name) as line:
            return str(line.version())
    except ssl.SSLCertVerificationError as error:
        return error.verify_message
    finally:
        here.close()
        beside.join(10)


def test_a_client_with_the_root_connects_and_one_without_does_not(kept: Kept) -> None:
    for name in ("box.home.arpa", "192.0.2.7", "localhost"):
        assert shaken(kept, name, True) == "TLSv1.3"
    assert "unable to get local issuer" in shaken(kept, "box.home.arpa", False)
    assert "Hostname mismatch" in shaken(kept, "other.home.arpa", True)


def test_the_leaf_renews_itself_under_the_same_root(kept: Kept) -> None:
    shown = [kept.serving(NOW + timedelta(days=day)) for day in range(0, 3650, 5)]
    assert [path.name for path, _ in shown][::73][:3] == ["leaf-01.pem", "leaf-01.pem", "leaf-02.pem"]
    assert len({path for path, _ in shown}) == 10
    for day, (_, leaf) in zip(range(0, 3650, 5), shown, strict=True):
        moment = NOW + timedelta(days=day)
        assert leaf.not_valid_before_utc <= moment - (timedelta(days=15) if day > 20 else timedelta())
        assert leaf.not_valid_after_utc >= moment + timedelta(days=10)


def test_another_address_makes_another_root_and_the_old_one_serves_again(tmp_path: Path) -> None:
    first = choose(tmp_path, ["192.0.2.7"], ["192.0.2.7"], NOW)
    assert choose(tmp_path, ["192.0.2.7"], ["192.0.2.7"], NOW).kept.fingerprint == first.kept.fingerprint
    moved = choose(tmp_path, ["192.0.2.9"], ["192.0.2.9"], NOW)
    assert moved.made
    assert moved.before is not None
    assert moved.before.label == first.kept.label
    assert moved.kept.label != first.kept.label
    back = choose(tmp_path, ["192.0.2.7"], ["192.0.2.7"], NOW)
    assert not back.made
    assert back.kept.fingerprint == first.kept.fingerprint
    named = choose(tmp_path, ["box.home.arpa"], ["192.0.2.7"], NOW)
    assert choose(tmp_path, ["box.home.arpa"], ["192.0.2.88"], NOW).kept.label == named.kept.label
    anew = choose(tmp_path, ["box.home.arpa"], [], NOW, anew=True)
    assert anew.made
    assert anew.kept.label != named.kept.label


def test_a_root_near_its_end_is_replaced_and_a_running_one_refuses_a_wrong_clock(kept: Kept) -> None:
    data = kept.folder.parent.parent
    assert choose(data, NAMES, (), kept.ends - timedelta(days=31)).kept.label == kept.label
    later = choose(data, NAMES, (), kept.ends - timedelta(days=29))
    assert later.made
    for path in later.kept.folder.iterdir():
        path.unlink()
    later.kept.folder.rmdir()
    for moment in (NOW - timedelta(days=2), kept.ends + timedelta(days=1)):
        with pytest.raises(Refused, match="clock says"):
            kept.serving(moment)
    with pytest.raises(Refused, match="1970-01-01"):
        choose(data, NAMES, (), datetime(1970, 1, 1, tzinfo=UTC))


def test_what_is_damaged_or_open_to_others(tmp_path: Path) -> None:
    made = choose(tmp_path, ["box.home.arpa"], (), NOW).kept
    path, _ = made.leaves[0]
    path.chmod(0o644)
    again = choose(tmp_path, ["box.home.arpa"], (), NOW).kept
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.write_text("cut short")
    with pytest.raises(Refused, match="Move the folder away"):
        _ = Kept(again.folder).leaves
    (made.folder / "root.pem").write_text("")
    with pytest.raises(Refused, match=r"root\.pem cannot be read"):
        choose(tmp_path, ["box.home.arpa"], (), NOW)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        (" Box.Home.ARPA. ", "box.home.arpa"),
        ("192.0.2.7", "192.0.2.7"),
        ("[FD00::0002]", "fd00::2"),
        ("localhost", "localhost"),
        ("xn--bcher-kva.example", "xn--bcher-kva.example"),
    ],
)
def test_names_are_written_one_way(given: str, kept: str) -> None:
    assert reachable(given) == kept


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("com", "no name"),
        ("*.home.arpa", "no name"),
        ("-box.home.arpa", "no name"),
        ("bücher.example", "no name"),
        ("box_1.home.arpa", "no name"),
        ("", "no name"),
        (f"{'a' * 64}.example", "no name"),
        (f"{'a.' * 130}example", "no name"),
        ("https://box.home.arpa", "more than a name"),
        ("box.home.arpa:8000", "more than a name"),
        ("box.home.arpa/", "more than a name"),
        ("192.0.2.256", "no address"),
        ("0.0.0.0", "no address"),
        ("224.0.0.1", "no address"),
        ("fe80::1%eth0", "no address"),
    ],
)
def test_names_that_cannot_be(given: str, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        reachable(given)
