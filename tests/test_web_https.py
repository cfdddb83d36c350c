"""Serving encrypted and behind a proxy, with real sockets: what each line gives out, and what it refuses."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection, HTTPSConnection
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from flask import Flask

from sourcing import access
from sourcing.certificates import Kept, choose
from sourcing.storage import Store
from web.app import create_app
from web.behind_proxy import BehindProxy
from web.cli import main
from web.commands.serving import Serving, show_key, show_root
from web.reach import Reach
from web.secure_server import RenewingAdapter

NAME = "box.home.arpa"
SENT = {"X-Forwarded-For": "198.51.100.4", "X-Forwarded-Proto": "https", "X-Forwarded-Host": NAME}


def free() -> int:
    """Return a port that is free, and so is the next one."""
    for _ in range(50):
        with socket.socket() as one, socket.socket() as other, contextlib.suppress(OSError):
            one.bind(("127.0.0.1", 0))
            port = int(one.getsockname()[1])
            other.bind(("127.0.0.1", port + 1))
            return port
    raise AssertionError("no two ports in a row are free")


@contextlib.contextmanager
def serving(folder: Path, port: int, *words: str) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-m", "web.cli", "--data", str(folder), "serve", "--port", str(port), *words]
    with (folder / "out").open("w") as out, (folder / "err").open("w") as err:
        process = subprocess.Popen(command, stdout=out, stderr=err, text=True, env=os.environ | {"NO_COLOR": "1"})
        try:
            for _ in range(600):
                assert process.poll() is None, (folder / "err").read_text()
                if "access" in (folder / "out").read_text():
                    break
                time.sleep(0.1)
            yield process
        finally:
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, int, subprocess.Popen[str]]]:
    folder, port = tmp_path_factory.mktemp("https"), free()
    with serving(folder, port, "--https", "--host", "127.0.0.1", "--name", NAME) as process:
        yield folder, port, process


def key_of(folder: Path) -> str:
    found = re.search(r"/enter/([\w-]{32})", (folder / "out").read_text())
    assert found
    return found[1]


def trusting(folder: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=next(folder.glob("https/*/root.pem")))


def encrypted(
    folder: Path, port: int, path: str, host: str = "localhost", *, cookie: str = ""
) -> tuple[int, dict[str, str], bytes]:
    connection = HTTPSConnection("localhost", port, timeout=20, context=trusting(folder))
    connection.request("GET", path, headers={"Host": f"{host}:{port}"} | ({"Cookie": cookie} if cookie else {}))
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer.status, dict(answer.getheaders()), body


def plain(port: int, path: str, host: str) -> tuple[int, dict[str, str], bytes]:
    connection = HTTPConnection("127.0.0.1", port, timeout=20)
    connection.request("GET", path, headers={"Host": f"{host}:{port}"})
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer.status, dict(answer.getheaders()), body


def test_who_trusts_the_root_comes_in_and_nobody_else(served: tuple[Path, int, subprocess.Popen[str]]) -> None:
    folder, port, process = served
    for _ in range(3):  # refusing our certificate may not harm the server
        with pytest.raises(ssl.SSLCertVerificationError):
            HTTPSConnection("localhost", port, timeout=20, context=ssl.create_default_context()).request("GET", "/")
    status, headers, _ = encrypted(folder, port, f"/enter/{key_of(folder)}", NAME)
    assert (status, headers["Location"]) == (303, "/")
    cookie = headers["Set-Cookie"]
    assert cookie.startswith("__Host-sourcing_access=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax"} <= set(cookie.split("; "))
    assert "Domain" not in cookie
    assert not headers.get("Server")
    status, headers, page = encrypted(folder, port, "/", NAME, cookie=cookie.split(";")[0])
    assert status == 200
    assert headers["Set-Cookie"].startswith("__Host-sourcing_session=")
    assert "Secure" in headers["Set-Cookie"]
    assert "Strict-Transport-Security" not in headers  # it would hold for the plain line of that name too
    assert b"Not encrypted" not in page
    assert b"This address is not secure" not in page
    assert encrypted(folder, port, "/", NAME)[0] == 403
    assert encrypted(folder, port, "/trust", NAME)[0] == 200
    assert encrypted(folder, port, "/", "rebound.example")[0] == 400
    assert process.poll() is None


def test_the_plain_line_hands_out_the_root_alone(served: tuple[Path, int, subprocess.Popen[str]]) -> None:
    folder, port, _ = served
    plainly = port + 1
    kept = Kept(next(folder.glob("https/*-*")))
    status, headers, body = plain(plainly, "/root.crt", NAME)
    assert (status, headers["Content-Type"], body) == (200, "application/x-x509-ca-cert", kept.der())
    status, headers, body = plain(plainly, "/root.pem", NAME)
    assert (status, body) == (200, kept.pem())
    assert headers["Content-Type"].startswith("application/x-pem-file")
    page = plain(plainly, "/trust", NAME)[2].decode()
    assert kept.fingerprint in re.sub(r"<[^>]+>|\s", "", page)
    said = re.sub(r"\s", "", (folder / "out").read_text())
    assert kept.fingerprint in said  # on both sides, to be compared
    assert (plain(plainly, "/", NAME)[0], plain(plainly, "/", NAME)[1]["Location"]) == (303, "/trust")
    key = key_of(folder)
    for path in (f"/enter/{key}", "/haul", "/connect", "/nowhere"):
        status, headers, body = plain(plainly, path, NAME)
        assert status == 403, path
        assert "access" not in headers.get("Set-Cookie", "")
        assert key.encode() not in body
    assert plain(plainly, f"/enter/{key}", "localhost")[0] == 303  # this computer to itself
    assert plain(plainly, "/haul", "localhost")[0] == 403
    assert plain(plainly, "/trust", "rebound.example")[0] == 400


def test_a_mute_or_a_plain_visitor_holds_nobody_up(served: tuple[Path, int, subprocess.Popen[str]]) -> None:
    folder, port, process = served
    mute = [socket.create_connection(("127.0.0.1", port)) for _ in range(6)]
    began = time.monotonic()
    assert encrypted(folder, port, "/trust", NAME)[0] == 200
    assert time.monotonic() - began < 20  # Cheroot itself waits ten seconds for each handshake that does not come
    status, _, body = plain(port, "/", NAME)
    assert status == 400
    assert b"https://" in body
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        old.minimum_version, old.maximum_version = ssl.TLSVersion.MINIMUM_SUPPORTED, ssl.TLSVersion.TLSv1_1
    old.set_ciphers("ALL:@SECLEVEL=0")
    with socket.create_connection(("127.0.0.1", port)) as line, pytest.raises(ssl.SSLError):
        old.wrap_socket(line)
    for one in mute:
        one.close()
    assert process.poll() is None


def test_the_link_is_shown_again_and_it_ends_cleanly(served: tuple[Path, int, subprocess.Popen[str]]) -> None:
    folder, port, process = served
    again = CliRunner().invoke(main, ["access", "link", "--data", str(folder)])
    assert f"https://{NAME}:{port}/enter/{key_of(folder)}" in again.output
    assert (folder / "serving.json").stat().st_mode & 0o777 == 0o600
    assert key_of(folder) not in (folder / "serving.json").read_text()
    taken = run("--https", "--port", str(port - 1), "--root-port", str(port), folder=folder)
    assert taken.exit_code == 1
    assert f"Port {port} " in taken.stderr
    assert "--root-port" in taken.stderr
    process.send_signal(signal.SIGTERM)
    assert process.wait(20) == 0
    assert (folder / "err").read_text() == "Stopped.\n"


def run(*words: str, folder: Path) -> Result:
    return CliRunner().invoke(main, ["--data", str(folder), "serve", *words])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--new-root"], "--https"),
        (["--root-port", "9"], "--https"),
        (["--name", "box.home.arpa"], "--name goes with"),
        (["--no-link"], "--no-link goes with"),
        (["--host", "192.0.2.7"], "--lan or --https"),
        (["--behind-proxy"], "needs --name"),
        (["--behind-proxy", "elsewhere", "--name", NAME], "“elsewhere”"),
        (["--behind-proxy", "--https", "--name", NAME], "leave out --lan and --https"),
        (["--https", "--port", "9000", "--root-port", "9000"], "must differ"),
    ],
)
def test_options_that_do_not_go_together(words: list[str], said: str, tmp_path: Path) -> None:
    result = run(*words, folder=tmp_path)
    assert result.exit_code == 2
    assert said in result.stderr


def test_a_name_that_cannot_be_one(tmp_path: Path) -> None:
    result = run("--https", "--name", "https://box.home.arpa", folder=tmp_path)
    assert result.exit_code == 1
    assert "Leave out https://" in result.stderr
    assert not (tmp_path / "https").exists()


def test_a_folder_that_cannot_be_written_to(tmp_path: Path) -> None:
    (tmp_path / "https").write_text("a file in the way")
    result = run("--https", "--host", "127.0.0.1", "--port", str(free()), folder=tmp_path)
    assert result.exit_code == 1
    assert "https cannot be used" in result.stderr


def test_a_clock_that_is_wrong(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Slow(datetime):
        @classmethod
        def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
            return datetime(1970, 1, 1, 0, 3, tzinfo=UTC)

    monkeypatch.setattr("web.commands.serve.datetime", Slow)
    result = run("--https", "--host", "127.0.0.1", "--port", str(free()), folder=tmp_path)
    assert result.exit_code == 1
    assert "1970-01-01" in result.stderr
    assert "Set the clock" in result.stderr


def test_a_new_address_says_plainly_that_phones_must_trust_anew(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def started(address: str) -> str:
        choice = choose(tmp_path, [address], [address], datetime.now(UTC))
        asked = Serving("https", "0.0.0.0", 8000, 8001, (), address, "")
        show_root(choice, asked)
        said = capsys.readouterr().out
        assert f"http://{address}:8001/trust" in said
        assert choice.kept.fingerprint in re.sub(r"\s", "", said)
        return said

    assert "anew" not in started("192.0.2.7")
    assert "every phone must trust it anew" in started("192.0.2.9")
    assert "anew" not in started("192.0.2.9")
    assert "anew" not in started("192.0.2.7")  # the old address, and with it the old root


def test_a_computer_without_a_network_is_told() -> None:
    for host, names, address, unfound in (
        ("0.0.0.0", (), "127.0.0.1", True),
        ("0.0.0.0", (NAME,), "127.0.0.1", False),
        ("0.0.0.0", (), "192.0.2.7", False),
        ("127.0.0.1", (), "127.0.0.1", False),
    ):
        assert Serving("https", host, 8000, 8001, names, address, "").unfound is unfound


def test_no_key_goes_into_a_log_that_is_not_to_hold_one(
    new_store: Callable[[], Store], capsys: pytest.CaptureFixture[str]
) -> None:
    store, secret = new_store(), "an invented secret of more than 32 characters"
    asked = Serving("https", "0.0.0.0", 8000, 8001, (NAME,), "192.0.2.7", "")
    show_key(store, secret, asked, new=False, link=False)
    key = access.live(store, secret)
    said = capsys.readouterr()
    assert key
    assert key not in said.out + said.err
    show_key(store, secret, asked, new=False, link=True)
    assert f"https://{NAME}:8000/enter/{key}" in capsys.readouterr().out
    store.close()


def test_the_leaf_changes_while_serving(tmp_path: Path) -> None:
    """A client sees the next leaf after a year, on the same context, without a new start."""
    now = datetime.now(UTC)
    kept = choose(tmp_path, [NAME], (), now).kept
    day = [now]
    adapter = RenewingAdapter(kept, lambda: day[0])

    def shown() -> bytes:
        here, there = socket.socketpair()
        server = adapter.encrypt(there)
        client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        client.check_hostname, client.verify_mode = False, ssl.CERT_NONE
        beside = threading.Thread(target=server.do_handshake)
        beside.start()
        with client.wrap_socket(here) as line:
            beside.join(20)
            server.close()
            return line.getpeercert(binary_form=True) or b""

    first = shown()
    day[0] = now + timedelta(days=400)
    second = shown()
    assert first != second
    day[0] = datetime(1970, 1, 1, tzinfo=UTC)  # a clock gone wrong changes nothing
    assert shown() == second


class TestProxy:
    @pytest.fixture
    def app(self, tmp_path: Path) -> Iterator[Flask]:
        reach = Reach("proxy", f"https://{NAME}", f"https://{NAME}")
        app = create_app(tmp_path / "data.db", mode="lan", hosts=["localhost", NAME], reach=reach)
        app.wsgi_app = BehindProxy(app.wsgi_app, "127.0.0.1")  # type: ignore[method-assign]
        yield app
        app.extensions["sourcing"].store.close()

    def test_the_visitor_is_who_the_proxy_says(self, app: Flask) -> None:
        key = access.grant(app.extensions["sourcing"].store, app.config["SECRET_KEY"])
        client = app.test_client()
        answer = client.get(f"/enter/{key}", headers=SENT, base_url="http://localhost:8000")
        assert answer.status_code == 303
        assert answer.headers["Location"] == "/"
        assert answer.headers["Set-Cookie"].startswith("__Host-")
        cookie = answer.headers["Set-Cookie"].split(";")[0]
        page = client.get("/", headers=SENT | {"Cookie": cookie}, base_url="http://localhost:8000")
        assert page.status_code == 200
        assert "Not encrypted" not in page.text
        there = client.get("/connect", headers=SENT | {"Cookie": cookie}, base_url="http://localhost:8000")
        assert key not in there.text  # the way in is shown on the computer itself alone
        unsaid = {name: said for name, said in SENT.items() if name != "X-Forwarded-Proto"}
        answer = client.get(f"/enter/{key}", headers=unsaid, base_url="http://localhost:8000")
        assert "Secure" not in answer.headers["Set-Cookie"]

    def test_nobody_else_is_believed(self, app: Flask) -> None:
        client = app.test_client()
        stranger = {"REMOTE_ADDR": "198.51.100.9"}
        assert client.get("/help", headers=SENT, environ_overrides=stranger).status_code == 403
        foreign = SENT | {"X-Forwarded-Host": "rebound.example"}
        assert client.get("/help", headers=foreign).status_code == 400
        two = SENT | {"X-Forwarded-Host": f"{NAME}, rebound.example"}
        assert client.get("/help", headers=two).status_code == 400  # the last one is the proxy's own word

    def test_a_plain_page_of_the_same_name_may_not_post(self, app: Flask) -> None:
        client = app.test_client()
        client.set_cookie("__Host-sourcing_access", access.grant(app.extensions["sourcing"].store))
        token = re.search(r'name="csrf_token" value="([^"]+)"', client.get("/", headers=SENT).text)
        assert token
        data = {"csrf_token": token[1], "store": "Tannery Row"}
        for origin, status in ((f"http://{NAME}", 400), (f"https://{NAME}", 303)):
            sent = SENT | {"Origin": origin, "Referer": f"https://{NAME}/"}
            assert client.post("/haul/start", data=data, headers=sent).status_code == status


class TestPlain:
    @pytest.fixture
    def app(self, tmp_path: Path) -> Iterator[Flask]:
        reach = Reach("plain", "http://192.0.2.7:8000", "http://192.0.2.7:8000", address="192.0.2.7")
        app = create_app(
            tmp_path / "data.db", mode="lan", hosts=["localhost", "192.0.2.7"], access=lambda key: True, reach=reach
        )
        yield app
        app.extensions["sourcing"].store.close()

    THERE = "http://192.0.2.7:8000"

    def test_what_is_missing_is_said_once_and_can_be_said_again(self, app: Flask) -> None:
        client, words = app.test_client(), "This address is not secure"
        phone = {"REMOTE_ADDR": "192.0.2.55"}
        page = client.get("/", base_url=self.THERE)
        assert words in page.text
        token = re.search(r'name="csrf_token" value="([^"]+)"', page.text)
        assert token
        data, own = {"csrf_token": token[1]}, {"Origin": self.THERE}
        assert client.post("/connect/note", data=data, headers=own, base_url=self.THERE).headers["Location"] == "/"
        assert "Put away" in client.get("/", base_url=self.THERE).text  # said, as what was just done
        assert words not in client.get("/", base_url=self.THERE).text
        there = client.get("/connect", base_url=self.THERE, environ_overrides=phone).text
        assert "Look at the home computer" in there
        assert "Show it again" in there
        client.post("/connect/note", data=data | {"show": "again"}, headers=own, base_url=self.THERE)
        assert words in client.get("/", base_url=self.THERE).text
        assert words not in client.get("/", base_url="http://localhost:8000").text

    def test_the_way_in_is_shown_on_the_computer_alone(self, app: Flask) -> None:
        key = access.grant(app.extensions["sourcing"].store, app.config["SECRET_KEY"])
        client = app.test_client()
        home = client.get("/connect", base_url=self.THERE, environ_overrides={"REMOTE_ADDR": "192.0.2.7"}).text
        assert f"{self.THERE}/enter/{key}" in home
        for sent, come in (({}, "192.0.2.55"), ({"X-Forwarded-For": "192.0.2.55"}, "127.0.0.1")):
            page = client.get("/connect", base_url=self.THERE, headers=sent, environ_overrides={"REMOTE_ADDR": come})
            assert key not in page.text
        access.revoke(app.extensions["sourcing"].store)
        gone = client.get("/connect", base_url=self.THERE, environ_overrides={"REMOTE_ADDR": "192.0.2.7"}).text
        assert "Every key was taken back" in gone

    def test_no_root_is_no_page(self, app: Flask) -> None:
        for path in ("/trust", "/root.crt", "/root.pem"):
            answer = app.test_client().get(path, base_url=self.THERE)
            assert answer.status_code == 404
            assert "sourcing serve --https" in answer.text


def test_the_code_says_the_link() -> None:
    """Draw the path as a picture and let an independent reader read it."""
    import zxingcpp
    from PIL import Image

    from web.qr import code

    link = "https://box.home.arpa:8000/enter/abcdefghijklmnopqrstuvwxyz012345"
    drawn = code(link)
    picture = Image.new("L", (drawn.side, drawn.side), 255)
    for column, row, width in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", drawn.d):
        picture.paste(0, (int(column), int(row), int(column) + int(width), int(row) + 1))
    assert zxingcpp.read_barcodes(picture.resize((drawn.side * 4,) * 2))[0].text == link


def test_the_link_needs_a_server(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["access", "link", "--data", str(tmp_path)])
    assert result.exit_code == 1
    assert "sourcing serve --https" in result.stderr
    (tmp_path / "serving.json").write_text(json.dumps({"link": "https://x", "trust": ""})[:9])
    assert CliRunner().invoke(main, ["access", "link", "--data", str(tmp_path)]).exit_code == 1
