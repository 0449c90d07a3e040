"""Only the browser that was given the address gets through; every answer carries the headers that shut the page."""

import asyncio
import contextlib
import json
import logging
import socket
import threading

import httpx
import pytest
import uvicorn
from hypothesis import given
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse
from starlette.routing import Mount, Route

from deskproof.web import guard

PORT, TOKEN = 8123, "b" * 32
HOST = b"127.0.0.1:8123"
OWN = b"http://127.0.0.1:8123"
SENDING = {b"origin": OWN, b"content-type": b"application/json"}
# As the design says, written out by itself.
EVERY_ANSWER = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "media-src 'self' blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


def scope(method="GET", path=f"/{TOKEN}/", headers=(), client=("127.0.0.1", 50000), host=HOST, **other):
    rows = headers if isinstance(headers, list) else list(dict(headers).items())
    rows = ([(b"host", host)] if host is not None else []) + rows
    return {
        "type": "http", "method": method, "path": path, "raw_path": path.encode("utf-8", "replace"), "root_path": "",
        "headers": rows, "client": client, "server": ("127.0.0.1", PORT), "scheme": "http", "query_string": b"",
        "http_version": "1.1", "asgi": {"version": "3.0"}, **other,
    }  # fmt: skip


async def echo(inner, receive, send):
    """An application that answers with what it got, and tries to open itself to all the world."""
    body, more = b"", True
    while more:
        message = await receive()
        body += message["body"]
        more = message["more_body"]
    echo.seen.append((inner, body))
    headers = [(b"Cache-Control", b"public"), (b"Access-Control-Allow-Origin", b"*"), (b"x-own", b"kept")]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": body})


@pytest.fixture(autouse=True)
def nothing_seen():
    echo.seen = []


def asked(one, chunks=(b"",), app=echo, **given):
    """Status, headers, body of an answer, and how many parts of the request were taken in."""
    parts = [
        {"type": "http.request", "body": chunk, "more_body": k < len(chunks) - 1} for k, chunk in enumerate(chunks)
    ]
    sent, left = [], list(parts)

    async def receive():
        return left.pop(0) if left else {"type": "http.disconnect"}

    async def send(message):
        sent.append(message)

    asyncio.run(guard.Guard(app, PORT, TOKEN, **given)(one, receive, send))
    if not sent:
        return None, {}, b"", len(parts) - len(left)
    assert [message["type"] for message in sent].count("http.response.start") == 1
    headers = {name.decode().lower(): value.decode() for name, value in sent[0]["headers"]}
    assert len(headers) == len(sent[0]["headers"])
    body = b"".join(message.get("body", b"") for message in sent[1:])
    return sent[0]["status"], headers, body, len(parts) - len(left)


def refused(one, status, **given):
    got, headers, body, taken = asked(one, **given)
    assert got == status
    assert headers.items() >= EVERY_ANSWER.items()
    assert headers["content-type"] == "text/plain; charset=utf-8"
    assert body == {403: b"Forbidden.\n", 404: b"Not found.\n", 413: b"Too large.\n"}[status]
    assert int(headers["content-length"]) == len(body)
    assert echo.seen == []
    return taken


# What passes


@pytest.mark.parametrize("name", [b"127.0.0.1", b"localhost", b"LocalHost", b"[::1]"])
@pytest.mark.parametrize("client", ["127.0.0.1", "127.8.9.10", "::1", "::ffff:127.0.0.1"])
def test_the_browser_that_has_the_address(name, client):
    host = name + b":8123"
    assert asked(scope(host=host, client=(client, 5)))[0] == 200
    own = {**SENDING, b"origin": b"http://" + host}
    for method in ("POST", "PUT", "DELETE"):
        assert asked(scope(method, headers=own, host=host, client=(client, 5)))[0] == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {b"sec-fetch-site": b"same-origin"},
        {b"content-type": b"application/json; charset=utf-8"},
        {b"content-type": b"Application/JSON;charset=UTF-8"},
    ],
)
def test_a_page_of_the_server_changes_something(headers):
    status, _, body, _ = asked(scope("POST", headers={**SENDING, **headers}), [b'{"a"', b": 1}"])
    assert (status, body) == (200, b'{"a": 1}')


@pytest.mark.parametrize("site", [b"none", b"same-origin", b"cross-site"])
def test_reading_needs_no_more_than_the_address(site):
    """A link in a mail is opened with "none", one on another page with "cross-site"; the secret is what counts."""
    assert asked(scope(headers={b"sec-fetch-site": site}))[0] == 200
    assert asked(scope("HEAD"))[0] == 200


def test_an_answer_carries_the_headers_whatever_the_application_says():
    status, headers, _, _ = asked(scope())
    assert status == 200
    assert headers.items() >= EVERY_ANSWER.items()
    assert headers["x-own"] == "kept"
    assert "access-control-allow-origin" not in headers


def test_port_80_is_left_out_by_browsers():
    assert guard.refusal(scope(host=b"localhost"), 80, TOKEN) is None
    assert guard.refusal(scope(host=b"localhost:80"), 80, TOKEN) is None
    assert guard.refusal(scope(host=b"localhost"), PORT, TOKEN) == 403


# What does not


@pytest.mark.parametrize(
    "client",
    [("192.168.1.7", 5), ("10.0.0.1", 5), ("0.0.0.0", 5), ("::", 5), ("::ffff:10.0.0.1", 5), ("fe80::1", 5), None,
     ("localhost.evil.example", 5), ("", 0), ("localhost", 5)],
)  # fmt: skip
def test_another_machine(client):
    refused(scope(client=client), 403)


@pytest.mark.parametrize(
    "host",
    [None, b"", b"127.0.0.1", b"localhost", b"127.0.0.1:8124", b"evil.example:8123", b"localhost.evil.example:8123",
     b"127.0.0.1:8123.evil.example", b"127.0.0.2:8123", b"0.0.0.0:8123", b"[::]:8123", b"::1:8123", b"127.1:8123",
     b"me@127.0.0.1:8123", b"localhost.:8123", b"127.0.0.1:08123", b"127.0.0.1:8123, evil.example"],
)  # fmt: skip
def test_another_name(host):
    """A name of somebody else's that was made to lead to this machine."""
    refused(scope(host=host), 403)


ORIGINS = [
    b"null", b"", b"http://evil.example", b"https://127.0.0.1:8123", b"http://127.0.0.1", b"http://127.0.0.1:8124",
    b"http://localhost:8123", b"http://127.0.0.1:8123/", b"http://127.0.0.1:8123.evil.example", b"127.0.0.1:8123",
]  # fmt: skip


@pytest.mark.parametrize("origin", ORIGINS)
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_page_from_elsewhere(origin, method):
    refused(scope(method, headers={**SENDING, b"origin": origin}), 403)


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
@pytest.mark.parametrize("site", [b"cross-site", b"same-site", b"none", b"", b"same-origin, cross-site"])
def test_changing_from_elsewhere(method, site):
    refused(scope(method, headers={**SENDING, b"sec-fetch-site": site}), 403)


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_changing_without_an_origin(method):
    refused(scope(method, headers={b"content-type": b"application/json", b"sec-fetch-site": b"same-origin"}), 403)


@pytest.mark.parametrize(
    "kind",
    [None, b"", b"text/plain", b"application/x-www-form-urlencoded", b"multipart/form-data; boundary=x",
     b"text/plain; application/json", b"application/jsonp", b"application/json; charset=utf-16",
     b"application/json, text/plain", b"application/problem+json"],
)  # fmt: skip
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_what_a_form_could_send(kind, method):
    headers = {b"origin": OWN} if kind is None else {b"origin": OWN, b"content-type": kind}
    refused(scope(method, headers=headers), 403)


@pytest.mark.parametrize("method", ["OPTIONS", "PATCH", "TRACE", "CONNECT", "PROPFIND", "get", "post", ""])
def test_other_methods(method):
    """OPTIONS is how another page would ask whether it may send more."""
    refused(scope(method, headers=SENDING), 403)


@pytest.mark.parametrize("name", [b"host", b"origin", b"content-type", b"sec-fetch-site"])
def test_a_header_that_comes_twice(name):
    rows = [*SENDING.items(), (b"sec-fetch-site", b"same-origin"), (b"host", HOST)]
    first = dict(rows)[name]
    one = scope("POST", headers=rows, host=None)
    assert guard.refusal(one, PORT, TOKEN) is None
    refused(scope("POST", headers=[*rows, (name.upper(), first)], host=None), 403)


@pytest.mark.parametrize(
    "path",
    ["/", "", "//", f"/{TOKEN}", TOKEN, f"{TOKEN}/", f"//{TOKEN}/", f"/{TOKEN[:-1]}/", f"/{TOKEN}b/", f"/{TOKEN} /",
     f"/x/{TOKEN}/", f"/{TOKEN.upper()}/", "/../", "/b/", f"/{TOKEN}\0/", f"/{TOKEN}\\", f"/é{TOKEN}/", "/\ud800/",
     f"http://127.0.0.1:8123/{TOKEN}/", "*"],
)  # fmt: skip
def test_without_the_secret(path):
    refused(scope(path=path), 404)


def test_an_empty_secret_is_no_secret():
    with pytest.raises(ValueError, match="needs a secret"):
        guard.Guard(echo, PORT, "")


@given(
    method=st.sampled_from(["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS"]),
    path=st.sampled_from([f"/{TOKEN}/x", "/", f"/{TOKEN}"]) | st.text(),
    client=st.sampled_from([("127.0.0.1", 1), ("::1", 1), ("10.1.1.1", 1), None]),
    host=st.sampled_from([HOST, b"localhost:8123", b"evil.example"]) | st.binary(),
    rows=st.lists(
        st.tuples(
            st.sampled_from([b"origin", b"sec-fetch-site", b"content-type", b"x"]),
            st.sampled_from([OWN, b"http://localhost:8123", b"null", b"same-origin", b"none", b"application/json"])
            | st.binary(),
        ),
        max_size=5,
    ),
)
def test_whatever_passes_keeps_every_rule(method, path, client, host, rows):
    one = scope(method, path, rows, client, host)
    status = guard.refusal(one, PORT, TOKEN)
    assert status in (None, 403, 404)
    sent = [dict([row]) for row in rows]
    origins, sites, kinds = (
        [row[name].strip() for row in sent if name in row] for name in (b"origin", b"sec-fetch-site", b"content-type")
    )
    known = host.strip().lower()
    good = (
        client is not None
        and client[0] in ("127.0.0.1", "::1")
        and known in (b"127.0.0.1:8123", b"localhost:8123", b"[::1]:8123")
        and origins in ([], [b"http://" + known])
        and method != "OPTIONS"
        and len(sites) < 2
        and len(kinds) < 2
    )
    if method in ("POST", "PUT", "DELETE"):
        good = good and bool(origins) and sites in ([], [b"same-origin"]) and kinds == [b"application/json"]
    assert (status != 403) == good
    assert (status is None) == (good and path.startswith(f"/{TOKEN}/"))


# Bodies


@pytest.mark.parametrize("chunks", [[b"x" * 10], [b"x"] * 10, [b"", b"x" * 9, b"", b"x", b""]])
def test_the_largest_body_that_passes(chunks):
    status, _, body, _ = asked(scope("POST", headers=SENDING), chunks, largest_body_bytes=10)
    assert (status, body) == (200, b"x" * 10)


@pytest.mark.parametrize("method", ["POST", "GET"])
@pytest.mark.parametrize("claimed", [None, b"3", b"0", b"-1", b"99999"])
def test_too_large_whatever_it_claims(method, claimed):
    headers = {**SENDING} if claimed is None else {**SENDING, b"content-length": claimed}
    one = scope(method, headers=headers)
    assert refused(one, 413, chunks=[b"x" * 6, b"x" * 5], largest_body_bytes=10) == 2
    assert refused(one, 413, chunks=[b"x" * 11, b"x" * 149, b"x"] + [b"x"] * 9, largest_body_bytes=10) == 3  # no more
    assert refused(one, 413, chunks=[b"x" * 11, b"", b"x"], largest_body_bytes=10) == 3


def test_a_claim_alone_refuses_nothing():
    headers = {**SENDING, b"content-length": b"99999"}
    assert asked(scope("POST", headers=headers), [b"x"], largest_body_bytes=10)[0] == 200


def test_a_refused_request_is_heard_out_up_to_a_point():
    """Cut off in the middle, the sender would see a broken connection instead of the answer."""
    one = scope("POST", path="/", headers=SENDING)
    assert refused(one, 404, chunks=[b"x"] * 5) == 5
    assert refused(one, 404, chunks=[b"x" * 100] * 5, largest_body_bytes=10) == 2


def test_a_client_that_goes_away_in_the_middle():
    one = scope("POST", headers=SENDING)
    gone = []

    async def receive():
        gone.append(1)
        return (
            {"type": "http.request", "body": b"x", "more_body": True} if len(gone) < 3 else {"type": "http.disconnect"}
        )

    async def send(message):
        raise AssertionError("answered")

    asyncio.run(guard.Guard(echo, PORT, TOKEN)(one, receive, send))
    assert echo.seen == []


def test_the_application_hears_that_the_client_went_away():
    heard = []

    async def app(inner, receive, send):
        heard.extend([await receive(), await receive()])
        await send({"type": "http.response.start", "status": 200, "headers": []})

    asked(scope(), [b"x"], app=app)
    assert [message["type"] for message in heard] == ["http.request", "http.disconnect"]


# When the application fails


async def fails(inner, receive, send):
    raise RuntimeError(f"no such file in /home/me, {TOKEN}")


async def silent(inner, receive, send):
    pass


def test_an_error_tells_the_page_nothing():
    sent = []

    async def receive():
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message):
        sent.append(message)

    with pytest.raises(RuntimeError, match="no such file"):
        asyncio.run(guard.Guard(fails, PORT, TOKEN)(scope(), receive, send))
    headers = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    assert (sent[0]["status"], sent[1]["body"]) == (500, b"Failed.\n")
    assert headers.items() >= EVERY_ANSWER.items()


def test_an_application_that_says_nothing():
    status, headers, body, _ = asked(scope(), app=silent)
    assert (status, body) == (500, b"Failed.\n")
    assert headers.items() >= EVERY_ANSWER.items()


# Other connections


def test_a_websocket_is_closed_before_it_opens():
    sent = []

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    one = {**scope(), "type": "websocket"}
    asyncio.run(guard.Guard(echo, PORT, TOKEN)(one, receive, send))
    assert sent == [{"type": "websocket.close", "code": 1008}]
    assert echo.seen == []


def test_the_start_and_the_end_of_the_server_reach_the_application():
    heard = []

    async def app(inner, receive, send):
        heard.append(inner["type"])

    asyncio.run(guard.Guard(app, PORT, TOKEN)({"type": "lifespan"}, None, None))
    assert heard == ["lifespan"]


# With the real application and server


async def place(request: Request):
    path = request.scope["root_path"] + "|" + str(request.url_for("place", name="x"))
    return PlainTextResponse(request.path_params["name"] + "|" + path)


async def taken(request: Request):
    return JSONResponse({"got": await request.json()})


async def broken(request: Request):
    raise RuntimeError("secret matters")


APP = Starlette(
    routes=[
        Route("/place/{name:path}", place, name="place"),
        Route("/take", taken, methods=["POST"]),
        Route("/broken", broken),
        Mount("/under", routes=[Route("/deep", lambda _: PlainTextResponse("deep"))]),
    ]
)


def test_the_routes_are_written_without_the_secret():
    async def run():
        transport = httpx.ASGITransport(guard.Guard(APP, PORT, TOKEN), client=("127.0.0.1", 5))
        async with httpx.AsyncClient(transport=transport, base_url=f"{OWN.decode()}/{TOKEN}") as client:
            return [await client.get(path) for path in ("/place/a%2F..%2F%C3%A9", "/under/deep", "/none", "/place/")]

    one, deep, none, _ = asyncio.run(run())
    assert one.text == f"a/../é|/{TOKEN}|{OWN.decode()}/{TOKEN}/place/x"
    assert deep.text == "deep"
    assert none.status_code == 404 and none.headers["cache-control"] == "no-store"


@pytest.fixture
def served():
    """A real server on a free port of this machine: its port and the secret."""
    with contextlib.closing(socket.socket()) as listening:
        listening.bind(("127.0.0.1", 0))
        port, token = listening.getsockname()[1], guard.new_token()
        server = uvicorn.Server(uvicorn.Config(guard.Guard(APP, port, token), log_config=None, **guard.SERVER))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            yield port, token
        finally:
            server.should_exit = True
            thread.join()


def test_a_real_server(served, caplog):
    port, token = served
    own = f"http://127.0.0.1:{port}"
    headers = {"origin": own, "content-type": "application/json"}
    base = guard.address(port, token)
    with caplog.at_level(logging.DEBUG), httpx.Client(trust_env=False) as client:
        good = client.post(f"{base}take", headers=headers, content=b'{"take": [1]}')
        assert good.json() == {"got": {"take": [1]}}
        answers = {
            200: [client.get(f"{base}place/x"), good],
            403: [
                client.get(f"{base}place/x", headers={"host": "evil.example"}),
                client.post(f"{base}take", headers={**headers, "origin": "http://evil.example"}, content=b"{}"),
                client.request("OPTIONS", f"{base}take", headers={"access-control-request-method": "POST"}),
                client.post(f"{base}take", headers={"origin": own}, data={"a": "form"}),
            ],
            404: [client.get(f"{own}/"), client.get(f"{own}/place/x"), client.get(f"{base}none")],
            413: [
                client.post(f"{base}take", headers=headers, content=b"1" * (guard.LARGEST_BODY_BYTES + 1)),
                client.post(f"{base}take", headers=headers, content=iter([b"1" * 40_000, b"1" * 40_000])),
            ],
            500: [client.get(f"{base}broken")],
        }
        # No header of the request makes the client another one, nor one that is refused a good one.
        forged = client.get(f"{base}place/x", headers={"x-forwarded-for": "10.1.1.1"})
        assert forged.status_code == 200
        upgrade = {"connection": "upgrade", "upgrade": "websocket", "sec-websocket-key": "x" * 22 + "=="}
        assert client.get(f"{own}/", headers=upgrade).status_code == 404
    for status, rows in answers.items():
        for answer in rows:
            assert answer.status_code == status
            assert answer.headers.items() >= EVERY_ANSWER.items()
            assert "server" not in answer.headers
            assert "secret matters" not in answer.text
            assert status < 500 or answer.headers["connection"] == "close"
    logged = [logging.Formatter().format(record) for record in caplog.records if record.name.startswith("uvicorn")]
    assert len(logged) == 1 and "RuntimeError: secret matters" in logged[0]
    assert token not in logged[0]


# The address


def test_a_new_secret_each_time():
    made = {guard.new_token() for _ in range(100)}
    assert len(made) == 100
    assert {len(token) for token in made} == {32}  # 24 bytes in base64
    assert all(token.isascii() and token.replace("-", "").replace("_", "").isalnum() for token in made)


def test_the_address_is_one_that_passes():
    url = httpx.URL(guard.address(PORT, TOKEN))
    one = scope(path=url.path, host=url.netloc)
    assert guard.refusal(one, PORT, TOKEN) is None
    assert json.dumps(str(url)) == f'"http://127.0.0.1:8123/{TOKEN}/"'
