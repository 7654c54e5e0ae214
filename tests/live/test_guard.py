"""Who may use the live page's server, and what it writes on request."""

from __future__ import annotations

import contextlib
import errno
import json
import socket
from collections.abc import Iterator

import httpx
import pytest

from gradehaul.live.guard import LARGEST_BODY
from live.served import HILL, Serve, Served, serving

MOVED = {"heights": {"joint Top": 0.055}, "rails": {"Yard:1": "film", "Yard:2": "film"}}


@pytest.fixture
def hill(serve: Serve) -> Served:
    return serve()


@pytest.fixture(scope="module")
def kept(tmp_path_factory) -> Iterator[Served]:
    """A hill that nobody changes, since every request to it is refused."""
    with serving(tmp_path_factory.mktemp("kept")) as start:
        hill = start()
        yield hill
        assert hill.plan.read_text() == HILL
        assert sorted(path.name for path in hill.plan.parent.iterdir()) == ["hill.toml", "stock.toml"]


def test_only_who_has_the_link_is_let_in(kept):
    base = kept.url.rsplit("/", 2)[0]
    own = kept.request("GET")
    assert (own.status_code, own.headers.get("server")) == (200, None)  # nobody needs to know what serves it
    for path in ("/", "/x/", "/events", "/favicon.ico", f"/{'A' * 24}/", kept.url.removeprefix(base).rstrip("/")):
        assert httpx.get(base + path).status_code == 404, path
    assert httpx.get(f"http://localhost:{kept.service.port}/{kept.url.rsplit('/', 2)[1]}/").status_code == 200


@pytest.mark.parametrize(
    "path", ["../hill.toml", "..%2fhill.toml", "hill.toml", "//etc/passwd", "%2e%2e/", "events/..", "."]
)
def test_no_other_path_is_served(kept, path):
    base, token = kept.url.rsplit("/", 2)[:2]
    with httpx.Client() as client:
        request = client.build_request("GET", f"{base}/")
        request.url = httpx.URL(f"{base}/").copy_with(raw_path=f"/{token}/{path}".encode())
        answer = client.send(request)
    assert answer.status_code in (404, 400)
    assert "Yard" not in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example"},
        {"host": "127.0.0.1"},
        {"host": "127.0.0.1:1"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
    ],
    ids=str,
)
def test_foreign_hosts_and_origins_are_refused(kept, headers):
    for method, path in (("GET", ""), ("GET", "events?page=x"), ("POST", "write")):
        answer = kept.request(method, path, headers=headers)
        assert answer.status_code == (421 if "host" in headers else 403)
        assert "Yard" not in answer.text
    assert kept.plan.read_text() == HILL


def test_a_post_without_an_origin_is_refused(kept):
    assert httpx.post(kept.url + "save", json={"text": "", "digest": ""}).status_code == 403
    assert kept.request("PUT", "save").status_code == 405
    assert kept.request("GET", "save").status_code == 405


def test_large_bodies_are_refused_whether_they_say_their_size_or_not(kept):
    def endless():
        for _ in range(60):
            yield b"x" * 50_000

    assert kept.request("POST", "save", content=b"x" * (LARGEST_BODY + 1)).status_code == 413
    kind = {"content-type": "application/json"}
    with contextlib.suppress(httpx.WriteError):  # refused while it was still being sent
        assert kept.request("POST", "save", content=endless(), headers=kind).status_code == 413
    base, token = kept.url.rsplit("/", 2)[:2]
    host = base.removeprefix("http://")
    with socket.create_connection(("127.0.0.1", kept.service.port), 60) as line:
        head = f"POST /{token}/save HTTP/1.1\r\nHost: {host}\r\nOrigin: {base}\r\nContent-Length: 100000000\r\n\r\n"
        line.sendall(head.encode())
        assert b" 413 " in line.recv(200)
    assert kept.request("GET").status_code == 200


@pytest.mark.parametrize(
    "trial",
    [
        None,
        [],
        {"heights": []},
        {"heights": {"joint Top": "high"}},
        {"heights": {"joint Top": float("nan")}},
        {"heights": {"joint Top": 10**400}},
        {"rails": {"Yard:1": 4}},
    ],
    ids=str,
)
def test_what_is_no_trial_is_refused(kept, trial):
    body = json.dumps({"trial": trial, "page": "x"})
    for path in ("trial", "diff", "write", "copy"):
        answer = kept.request("POST", path, content=body, headers={"content-type": "application/json"})
        assert answer.status_code == 400 or (trial in (None, []) and answer.status_code in (400, 409)), path
    assert kept.plan.read_text() == HILL


def test_a_plan_that_is_not_there_is_refused(serve):
    folder = serve(whole_folder=True)
    for path, status in (("?plan=x.toml", 404), ("events?plan=x.toml", 404), ("headline?plan=x.toml", 400)):
        assert folder.request("GET", path).status_code == status


def test_json_alone_is_taken(kept):
    for content, kind in (
        (b"{", "application/json"),
        (b"[]", "application/json"),
        (b"{}", "text/plain"),
        (b"[" * 99_999, "application/json"),
    ):
        assert kept.request("POST", "trial", content=content, headers={"content-type": kind}).status_code == 400


def test_headers_keep_the_page_to_itself(kept):
    headers = kept.request("GET").headers
    policy = dict(rule.split(" ", 1) for rule in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert policy["connect-src"] == "'self'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"


def test_writing_shows_the_lines_first_and_keeps_all_others(hill):
    offered = hill.post("diff", {"trial": MOVED}).json()
    assert "-Top  = 60     # the summit" in offered["diff"]
    assert "+Top  = 55     # the summit" in offered["diff"]
    assert hill.plan.read_text() == HILL
    written = hill.post("write", {"trial": MOVED, "digest": offered["digest"]})
    assert written.status_code == 200
    lines = hill.plan.read_text().splitlines()
    assert "Top  = 55     # the summit" in lines
    assert [line for line in HILL.splitlines() if line not in lines] == ["Top  = 60     # the summit"]
    assert 'rail = "film"' in "\n".join(lines)


def test_line_ends_and_a_byte_order_mark_stay(serve):
    hill = serve()
    data = b"\xef\xbb\xbf" + HILL.replace("\n", "\r\n").encode()
    hill.plan.write_bytes(data)
    offered = hill.post("diff", {"trial": MOVED}).json()
    assert hill.post("write", {"trial": MOVED, "digest": offered["digest"]}).status_code == 200
    after = hill.plan.read_bytes()
    assert after.startswith(b"\xef\xbb\xbf# A hill")
    assert after.count(b"\n") == after.count(b"\r\n")


def test_a_file_that_has_changed_is_not_written_over(hill):
    offered = hill.post("diff", {"trial": MOVED}).json()
    theirs = HILL + "# mine\n"
    hill.plan.write_text(theirs)
    for path, body in (("write", {"trial": MOVED}), ("save", {"text": HILL})):
        answer = hill.post(path, {**body, "digest": offered["digest"]})
        assert answer.status_code == 409
        assert "has changed" in answer.json()["wrong"]
    assert hill.plan.read_text() == theirs


@pytest.mark.parametrize(
    ("step", "number", "words"),
    [
        ("os.fsync", errno.ENOSPC, "No space left on device"),
        ("gradehaul.show.base.whole_file.secrets.token_hex", errno.EROFS, "Read-only file system"),
        ("pathlib.Path.replace", errno.EACCES, "Access is denied"),  # as where an editor holds the file open on Windows
    ],
    ids=["full", "read-only", "locked"],
)
def test_a_disk_that_refuses_leaves_the_file_whole(hill, monkeypatch, step, number, words):
    offered = hill.post("diff", {"trial": MOVED}).json()

    def refused(*_: object) -> None:
        raise OSError(number, words)

    monkeypatch.setattr(step, refused)
    answer = hill.post("write", {"trial": MOVED, "digest": offered["digest"]})
    monkeypatch.undo()
    assert answer.status_code == 409
    assert words in answer.json()["wrong"]
    assert hill.plan.read_text() == HILL
    assert sorted(path.name for path in hill.plan.parent.iterdir()) == ["hill.toml", "stock.toml"]


@pytest.mark.parametrize(
    "name", ["", "../out", "a/b", "hill", "..", ".toml", "x\\y", "C:x", "con", "NUL.toml", "lpt1.x"]
)
def test_a_copy_stands_beside_the_plan_under_a_new_name(kept, name):
    answer = kept.post("copy", {"trial": MOVED, "name": name})
    assert answer.status_code == 409
    assert kept.plan.read_text() == HILL
    assert not list(kept.plan.parent.parent.glob("out*"))
    assert sorted(path.name for path in kept.plan.parent.iterdir()) == ["hill.toml", "stock.toml"]


@pytest.mark.parametrize(
    ("path", "body"),
    [("save", {"text": HILL + "# \ud800"}), ("copy", {"trial": MOVED, "name": "flat\udc80"})],
    ids=["text", "name"],
)
def test_half_a_sign_cannot_be_written(kept, path, body):
    digest = kept.post("diff", {"trial": MOVED}).json()["digest"]
    content = json.dumps({**body, "digest": digest})  # escaped, as a browser sends it
    answer = kept.request("POST", path, content=content, headers={"content-type": "application/json"})
    assert (answer.status_code, answer.json()) == (400, {"wrong": "the text is not UTF-8"})
    assert kept.plan.read_text() == HILL
    assert sorted(path.name for path in kept.plan.parent.iterdir()) == ["hill.toml", "stock.toml"]


def test_a_copy_has_the_changes(hill):
    assert hill.post("copy", {"trial": MOVED, "name": "flatter"}).json() == {"name": "flatter.toml"}
    assert "Top  = 55" in (hill.plan.parent / "flatter.toml").read_text()
    assert hill.plan.read_text() == HILL


def test_what_cannot_be_written_is_refused(kept):
    for trial, words in (
        ({"heights": {"joint Nowhere": 1.0}}, "no longer has"),
        ({"rails": {"Yard:1": "butter"}}, "no longer has"),
        ({"heights": {"joint Top": 5000.0}}, "100 %"),
    ):
        answer = kept.post("diff", {"trial": trial})
        assert answer.status_code == 409, trial
        assert words in answer.json()["wrong"], trial
