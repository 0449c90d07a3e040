"""The server as a process: what it says, who gets an answer, how it ends, what it leaves behind."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from deskproof.demo import SCORE as DEMO

LONG_S = 60  # for what should be done in a moment; no test passes by waiting
ENDS_S = 15.0  # it takes 3; a check that never ends would keep it for ever

# Once the file STUCK is there, checks never end, of a mended score or one that is opened; "begun" stands in it then.
STUCK = """
import os, sys, time
from pathlib import Path
from deskproof import opening
from deskproof.web import session
inner = session.check
def check(*given):
    if Path(os.environ["STUCK"]).exists():
        Path(os.environ["STUCK"]).write_text("begun")
        while True:
            sum(range(10_000))
    return inner(*given)
session.check = opening.check = check
from deskproof.cli import main
main()
"""


@dataclass
class Server:
    """A server that runs; ``ended`` tells how it ended."""

    process: subprocess.Popen[str]
    address: str
    said: list[str] = field(default_factory=list)
    connections: list[http.client.HTTPConnection] = field(default_factory=list)

    @property
    def port(self) -> int:
        return int(self.address.split(":")[2].split("/")[0])

    @property
    def root(self) -> str:
        return "/" + self.address.split("/", 3)[3].rstrip("/")

    def connection(self) -> http.client.HTTPConnection:
        self.connections.append(http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONG_S))
        return self.connections[-1]

    def get(self, path: str, **headers: str) -> tuple[int, bytes]:
        """Status and body of one address, on a connection of its own."""
        connection = self.connection()
        try:
            connection.request("GET", path, headers=headers)
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()

    def send(self, path: str, body: dict[str, object]) -> dict[str, Any]:
        connection = self.connection()
        try:
            self.ask(connection, path, body)
            answer = connection.getresponse()
            data = answer.read()
            assert answer.status == 200, data
            return dict(json.loads(data))
        finally:
            connection.close()

    def ask(self, connection: http.client.HTTPConnection, path: str, body: dict[str, object]) -> None:
        headers = {"Origin": f"http://127.0.0.1:{self.port}", "Content-Type": "application/json"}
        connection.request("POST", f"{self.root}/{path}", json.dumps(body), headers)

    def pieces(self, name: str) -> dict[str, Any]:
        status, data = self.get(f"{self.root}/pieces?name={quote(name)}")
        assert status == 200, data
        return dict(json.loads(data))

    def ended(self, sent: int = signal.SIGINT) -> tuple[int, str, str, float]:
        """Exit status, what stdout and stderr said, and seconds from the interrupt to the end."""
        at = time.monotonic()
        self.process.send_signal(sent)
        out, err = self.process.communicate(timeout=LONG_S)
        return self.process.returncode, "".join([*self.said, out]), err, time.monotonic() - at


@contextmanager
def served(place: Path, *words: str, program: str = "", **environment: str) -> Iterator[Server]:
    start = ["-c", program] if program else ["-m", "deskproof.cli"]
    command = [sys.executable, *start, "serve", str(place), "--no-browser", *words]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, **environment},
        cwd=place if place.is_dir() else place.parent,
    )  # fmt: skip
    server = Server(process, "")
    with process:
        try:
            assert process.stdout is not None
            server.said += [process.stdout.readline() for _ in range(2)]
            server.address = server.said[0].strip()
            if not server.address.startswith("http://"):
                raise AssertionError(f"the server said {server.address!r} and {process.communicate(timeout=LONG_S)}")
            yield server
        finally:
            process.kill()
            for connection in server.connections:
                connection.close()


def begun(flag: Path) -> None:
    """Waits until a check that will not end has begun."""
    until = time.monotonic() + LONG_S
    while flag.read_text("ascii") != "begun":
        assert time.monotonic() < until
        time.sleep(0.02)


def refused(place: Path, *words: str) -> str:
    """What is said where the server does not start."""
    done = subprocess.run(
        [sys.executable, "-m", "deskproof.cli", "serve", str(place), "--no-browser", *words],
        capture_output=True, text=True, timeout=LONG_S, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("deskproof: ")
    assert done.stderr.count("\n") == 1
    return done.stderr


@pytest.fixture
def pieces(tmp_path: Path) -> Path:
    """A folder with the demo in it, under a name with a blank."""
    place = tmp_path / "pieces"
    place.mkdir()
    (place / "first ferry.musicxml").write_bytes(DEMO.read_bytes())
    return place


def test_only_the_address_that_is_said_gets_an_answer(pieces: Path) -> None:
    with served(pieces) as server:
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/[A-Za-z0-9_-]{32}/", server.address)
        assert server.get(f"{server.root}/")[0] == 307
        assert server.get(f"{server.root}/score?name=first%20ferry.musicxml")[0] == 200
        wrong = ["/", "/score", "/pieces?name=first%20ferry.musicxml", f"{server.root}x/", server.root,
                 f"{server.root[:-1]}/", "/static/page.js", f"/x{server.root}/", f"/{'a' * 32}/"]  # fmt: skip
        for path in wrong:
            assert server.get(path) == (404, b"Not found.\n"), path
        assert server.get(f"{server.root}/", Host=f"elsewhere.example:{server.port}")[0] == 403
        assert server.get(f"{server.root}/", Origin="http://elsewhere.example")[0] == 403
        status, out, err, _ = server.ended()
        assert (status, out, err) == (0, f"{server.address}\nCtrl-C ends it.\n", "")
        with served(pieces) as again:
            assert again.root != server.root


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="only where the system lists its sockets so")
def test_it_listens_on_this_machine_only(pieces: Path) -> None:
    with served(pieces) as server:
        rows = []
        for table in ("tcp", "tcp6"):
            listed = Path("/proc/net", table)
            if listed.exists():
                rows += [line.split() for line in listed.read_text("ascii").splitlines()[1:]]
        mine = [row[1] for row in rows if row[1].endswith(f":{server.port:04X}") and row[3] == "0A"]  # in LISTEN
        assert mine == [f"0100007F:{server.port:04X}"]


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM], ids=["interrupt", "terminate"])
def test_it_ends_at_once_when_nothing_is_asked(pieces: Path, tmp_path: Path, sent: int) -> None:
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with served(pieces, TMPDIR=str(scratch)) as server:
        idle = server.connection()
        idle.connect()
        server.pieces("first ferry.musicxml")
        assert list(scratch.iterdir())
        status, _, err, seconds = server.ended(sent)
        assert (status, err) == (0, "")
        assert seconds < ENDS_S
    assert [path.name for path in pieces.iterdir()] == ["first ferry.musicxml"]
    assert not list(scratch.iterdir())


def test_it_ends_while_it_checks_and_pages_wait(pieces: Path, tmp_path: Path) -> None:
    """A check that never ends, a page that waits for it, one that has sent half of what it wants, and an idle one."""
    flag, scratch = tmp_path / "stuck", tmp_path / "scratch"
    scratch.mkdir()
    name = "first ferry.musicxml"
    with served(pieces, program=STUCK, STUCK=str(flag), TMPDIR=str(scratch)) as server:
        now = server.pieces(name)
        assert [path.name.startswith("deskproof-") for path in scratch.iterdir()] == [True]
        flag.touch()
        took = server.send("take", {"name": name, "revision": now["revision"], "keeping": True})
        assert took["checking"]
        begun(flag)
        said = server.send("save", {"name": name, "as": "mended"})["said"]
        waiting = server.connection()
        server.ask(waiting, "save", {"name": name, "as": "json"})
        half = server.connection()
        half.connect()
        half.sock.sendall(f"POST {server.root}/take HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Le".encode())
        idle = server.connection()
        idle.connect()
        time.sleep(0.2)  # so that they have come in
        status, _, err, seconds = server.ended()
        assert (status, err) == (0, "")
        assert seconds < ENDS_S
    assert said == "Wrote first ferry-mended.musicxml."
    assert sorted(path.name for path in pieces.iterdir()) == ["first ferry-mended.musicxml", name]
    assert list(scratch.iterdir()) == []


def test_it_ends_at_the_check_that_nobody_waits_for(pieces: Path, tmp_path: Path) -> None:
    flag = tmp_path / "stuck"
    name = "first ferry.musicxml"
    with served(pieces, program=STUCK, STUCK=str(flag)) as server:
        now = server.pieces(name)
        flag.touch()
        server.send("take", {"name": name, "revision": now["revision"], "keeping": True})
        status, _, err, seconds = server.ended()
        assert (status, err) == (0, "")
        assert seconds < ENDS_S


def test_it_ends_while_a_score_is_opened(pieces: Path, tmp_path: Path) -> None:
    flag = tmp_path / "stuck"
    flag.touch()
    with served(pieces, program=STUCK, STUCK=str(flag)) as server:
        server.connection().request("GET", f"{server.root}/pieces?name=first%20ferry.musicxml")
        begun(flag)
        status, _, err, seconds = server.ended()
        assert (status, err) == (0, "")
        assert seconds < ENDS_S


def test_a_second_interrupt_is_no_trouble(pieces: Path, tmp_path: Path) -> None:
    flag = tmp_path / "stuck"
    name = "first ferry.musicxml"
    with served(pieces, program=STUCK, STUCK=str(flag)) as server:
        now = server.pieces(name)
        flag.touch()
        server.send("take", {"name": name, "revision": now["revision"], "keeping": True})
        waiting = server.connection()
        server.ask(waiting, "save", {"name": name, "as": "json"})
        time.sleep(0.2)
        server.process.send_signal(signal.SIGINT)
        time.sleep(0.3)
        status, _, err, seconds = server.ended()
        assert (status, err) == (0, "")
        assert seconds < ENDS_S


def test_a_port_is_free_again_at_once_and_not_shared(pieces: Path) -> None:
    with served(pieces) as server:
        port = str(server.port)
        said = refused(pieces, "--port", port)
        assert f"port {port} cannot be used" in said
        assert "--port" in said
        connection = server.connection()
        connection.request("GET", f"{server.root}/")
        connection.getresponse().read()
        assert server.ended()[0] == 0  # it closes the connection, and the system remembers that for a minute
        with served(pieces, "--port", port) as again:
            assert again.port == int(port)
            assert again.get(f"{again.root}/")[0] == 307


def test_a_folder_without_scores(tmp_path: Path) -> None:
    with served(tmp_path) as server:
        status, page = server.get(f"{server.root}/")
        assert status == 200
        assert b"No score here." in page
        (tmp_path / "later.musicxml").write_bytes(DEMO.read_bytes())
        assert server.get(f"{server.root}/")[0] == 307
        status, data = server.get(f"{server.root}/pieces?name=no.xml")
        assert (status, set(json.loads(data))) == (400, {"error"})
        assert server.ended()[:3:2] == (0, "")


def test_what_is_no_score(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("hello", "utf-8")
    assert "not read as a score" in refused(tmp_path / "notes.txt")
    assert "no such file or folder" in refused(tmp_path / "nothing.musicxml")
    (tmp_path / "broken.musicxml").write_text("hello", "utf-8")
    assert "no such" in refused(tmp_path / "broken.musicxml", "--forces", str(tmp_path / "no.toml")).lower()
    with served(tmp_path / "broken.musicxml") as server:
        status, data = server.get(f"{server.root}/pieces?name=broken.musicxml")
        assert status == 400
        assert "not well-formed" in json.loads(data)["error"]
        assert server.ended()[:3:2] == (0, "")


def test_our_own_fault_stands_where_it_was_started(pieces: Path) -> None:
    """The page gets a sentence, the person at the terminal the whole of it, and the server goes on."""
    program = (
        "from deskproof.web.desk import OnDesk\n"
        "def broken(*given): raise ValueError('the strings have snapped')\n"
        "OnDesk.finding = broken\n"
        "from deskproof.cli import main\nmain()\n"
    )
    with served(pieces, program=program) as server:
        status, data = server.get(f"{server.root}/finding?name=first%20ferry.musicxml&id=x")
        assert (status, set(json.loads(data))) == (500, {"error"})
        assert b"snapped" not in data
        server.pieces("first ferry.musicxml")
        status, _, err, _ = server.ended()
        assert status == 0
        assert "ValueError: the strings have snapped" in err
