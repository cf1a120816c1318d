"""Files on their way out: by this server, from memory or from the disk; or by an nginx in front that is told which."""

from __future__ import annotations

import errno
import hashlib
import http.client
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import anyio
import pytest
from starlette.requests import Request
from starlette.types import Message

from app.domain.people import Role
from app.settings import BadSetting, Settings
from app.web import sending
from app.web.auth import PLAIN_COOKIE, digest
from app.web.media import media_address
from app.web.ranges import Stretch
from app.web.sending import AT_ONCE, BLOCK, OpenFile, OpenFiles, StretchResponse
from app.web.viewer import Viewer
from tests import nginx
from tests.web.league import League, league
from tests.web.serving import serving

FILM = bytes(range(256)) * 6000
"""A little under six blocks, and longer than what goes out at once."""
TOKEN = "official-test"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "film"
    made.write_bytes(FILM)
    return made


def is_open(path: Path) -> bool:
    """Whether this process holds the file open."""
    held = (str(file.readlink()) for file in Path("/proc/self/fd").iterdir() if file.is_symlink())
    return any(name.removesuffix(" (deleted)") == str(path) for name in held)


async def all_of(file: OpenFile, first: int = 0, end: int = len(FILM)) -> bytes:
    """A stretch, block by block."""
    found = b""
    while first + len(found) < end:
        found += await file.block(first + len(found), end)
    return found


# ------------------------------------------------------------------------------- from memory, from the disk


def test_what_is_in_memory_and_what_is_not_are_the_same_bytes(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = OpenFile(path)
    assert anyio.run(all_of, file) == FILM

    def on_the_disk(*_: object) -> int:
        raise BlockingIOError(errno.EAGAIN, "not in memory")

    monkeypatch.setattr(os, "preadv", on_the_disk)
    assert anyio.run(all_of, file) == FILM
    assert anyio.run(all_of, file, 5, 7) == FILM[5:7]


def test_a_system_that_cannot_tell_what_is_in_memory_is_asked_by_a_thread(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sending, "_WAIT_FREE", 0)
    monkeypatch.setattr(os, "preadv", None)
    assert anyio.run(all_of, OpenFile(path)) == FILM


def test_a_disk_that_fails_and_a_file_that_became_shorter_break_off_loudly(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = OpenFile(path)
    os.truncate(path, 1000)
    with pytest.raises(OSError, match="ends at 1000, earlier than it did"):
        anyio.run(all_of, file)

    def broken(*_: object) -> int:
        raise OSError(errno.EIO, "broken")

    monkeypatch.setattr(os, "preadv", broken)
    with pytest.raises(OSError, match="broken"):
        anyio.run(all_of, file)


# ------------------------------------------------------------------------------- kept open


def test_a_file_is_kept_open_until_others_were_asked_for(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sending, "KEPT_OPEN", 2)

    async def asked() -> None:
        files = OpenFiles()
        first = await files.find(path)
        assert await files.find(path) is first
        del first
        assert is_open(path)
        for name in ("b", "c"):
            (tmp_path / name).write_bytes(b"x")
            await files.find(tmp_path / name)
        assert not is_open(path)
        (tmp_path / "d").write_bytes(b"x")
        files.close()
        await files.find(tmp_path / "d")  # the thread that opened the last one lets go of it, too
        assert not is_open(tmp_path / "c")

    anyio.run(asked)


def test_a_file_that_goes_or_changes_is_not_served_from_what_was_open(path: Path, tmp_path: Path) -> None:
    async def asked() -> None:
        files = OpenFiles()
        old = await files.find(path)
        (tmp_path / "new").write_bytes(b"new")
        os.replace(tmp_path / "new", path)
        assert await all_of(await files.find(path), 0, 3) == b"new"
        assert await all_of(old) == FILM  # whoever was reading it goes on
        path.unlink()
        with pytest.raises(FileNotFoundError):
            await files.find(path)

    anyio.run(asked)


def sent_until_it_hangs(path: Path, stretch: Stretch) -> list[int]:
    """The lengths of the parts that are sent to a reader who leaves while the first block is under way."""
    sent: list[int] = []
    listens = anyio.Event()

    async def receive() -> Message:
        await listens.wait()
        return {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        sent.append(len(message.get("body", b"")))
        if message["type"] == "http.response.body":
            listens.set()
            await anyio.sleep_forever()  # as a server does that waits for a slow reader

    anyio.run(StretchResponse(OpenFile(path), stretch, 200, {}), {"type": "http", "method": "GET"}, receive, send)
    return sent


def test_of_a_long_stretch_nothing_more_is_read_once_nobody_listens(path: Path) -> None:
    assert len(FILM) > AT_ONCE
    assert sent_until_it_hangs(path, Stretch(0, len(FILM))) == [0, BLOCK]
    assert not is_open(path)


# ------------------------------------------------------------------------------- by an nginx in front


def address(made: League, kind: str, name: str) -> str:
    """The address of a file for the official's device."""
    made.browser("official")
    viewer = Viewer("sil", "", Role.OFFICIAL, device=digest(TOKEN))
    request = Request({"type": "http", "app": made.app, "state": {"viewer": viewer}, "headers": []})
    return media_address(request, kind, name)


NAME = hashlib.sha256(FILM).hexdigest()


def with_tape(made: League) -> str:
    """A tape in the library, and its address for the official's device."""
    path = made.app.state.library.tape(NAME)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(FILM)
    made.app.state.settings = replace(made.app.state.settings, sendfile="/inside")
    return address(made, "tape", NAME)


@pytest.fixture
def told(tmp_path: Path) -> Iterator[tuple[League, str]]:
    """A league behind an nginx that sends the files, and the address of a tape."""
    with league(tmp_path) as made:
        yield made, with_tape(made)


@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_an_nginx_in_front_is_told_which_file_it_is_and_what_to_say_of_it(
    told: tuple[League, str], method: str
) -> None:
    made, where = told
    reply = made.browser("official").request(method, where, headers={"range": "bytes=5-9"})
    assert (reply.status_code, reply.content) == (200, b"")
    assert reply.headers["x-accel-redirect"] == f"/inside/tapes/{NAME[:2]}/{NAME}.mp4"
    assert "content-range" not in reply.headers
    assert reply.headers["content-type"] == "video/mp4"
    assert reply.headers["cache-control"].startswith("private, max-age=")
    assert reply.headers["cache-control"].endswith(", immutable")
    assert reply.headers["etag"].startswith('"')


def test_what_a_browser_has_and_whose_it_is_not_are_answered_without_nginx(told: tuple[League, str]) -> None:
    made, where = told
    browser = made.browser("official")
    known = browser.get(where, headers={"if-none-match": browser.get(where).headers["etag"]})
    refused = [made.browser("supervisor").get(where), browser.get(address(made, "tape", "0" * 64))]
    assert [known.status_code, *(reply.status_code for reply in refused)] == [304, 404, 404]
    assert not any("x-accel-redirect" in reply.headers for reply in (known, *refused))


def test_without_the_setting_nobody_is_told_where_files_lie(tmp_path: Path) -> None:
    with league(tmp_path) as made:
        where = with_tape(made)
        made.app.state.settings = replace(made.app.state.settings, sendfile="")
        reply = made.browser("official").get(where)
    assert reply.content == FILM
    assert "x-accel-redirect" not in reply.headers


@pytest.mark.parametrize("text", ["inside", "/", "/a b", "/a;", "//a", "/../a", "/a{"])
def test_a_place_that_nginx_would_not_understand_is_refused(text: str) -> None:
    with pytest.raises(BadSetting, match="PENNON_SENDFILE"):
        Settings.from_env({"HOME": "/h", "PENNON_SENDFILE": text})


@pytest.mark.parametrize(("text", "kept"), [("", ""), ("/inside", "/inside"), ("/in/side/", "/in/side")])
def test_a_place_in_nginx_is_taken_as_it_is(text: str, kept: str) -> None:
    assert Settings.from_env({"HOME": "/h", "PENNON_SENDFILE": text}).sendfile == kept


def recipe() -> str:
    """The nginx recipe of README.md, as people copy it."""
    text = Path(__file__).parents[2].joinpath("README.md").read_text("utf-8")
    return text.split("```nginx\n")[1].split("```")[0]


def test_the_recipe_of_the_documents_gives_ranges_through_nginx_and_keeps_its_inside_shut(tmp_path: Path) -> None:
    program = nginx.program()
    if program is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(nginx.MISSING)
    data, folder = tmp_path / "data", tmp_path / "nginx"
    data.mkdir()
    folder.mkdir()
    with league(data):
        pass
    with serving(data) as served:
        where = with_tape(served.league)
        blocks = recipe().replace("127.0.0.1:8430", f"127.0.0.1:{served.port}").replace("/srv/pennon", str(data))
        with nginx.running(program, folder, blocks) as (port, _):
            ask_through(port, where)


def ask_through(port: int, where: str) -> None:
    """Ask an nginx for a tape as a browser does, and for what it must not give."""
    whole = asked(port, "GET", where)
    assert (whole.status, whole.body) == (200, FILM)
    etag, kept = whole.headers["etag"], whole.headers["cache-control"]
    assert kept.startswith("private, max-age=")
    for first, last in ((0, 0), (70_000, 1_200_000), (len(FILM) - 9, len(FILM) - 1)):
        part = asked(port, "GET", where, range=f"bytes={first}-{last}", if_range=etag)
        assert (part.status, part.body) == (206, FILM[first : last + 1])
        assert part.headers["content-range"] == f"bytes {first}-{last}/{len(FILM)}"
        assert (part.headers["content-type"], part.headers["cache-control"]) == ("video/mp4", kept)
        assert part.headers["cross-origin-resource-policy"] == "same-origin"
        assert part.headers["x-content-type-options"] == "nosniff"
        assert not {"x-accel-redirect", "last-modified"} & set(part.headers)
    assert asked(port, "GET", where, range="bytes=0-9", if_range='"x"').status == 200
    assert asked(port, "GET", where, range=f"bytes={len(FILM)}-").status == 416
    assert asked(port, "GET", where, if_none_match=etag).status == 304
    head = asked(port, "HEAD", where)
    assert (head.status, head.body, head.headers["content-length"]) == (200, b"", str(len(FILM)))
    for outside in (f"/inside/tapes/{NAME[:2]}/{NAME}.mp4", "/inside/", "/inside/league.db"):
        assert asked(port, "GET", outside).status == 404


class Came:
    """What came back through nginx."""

    def __init__(self, reply: http.client.HTTPResponse) -> None:
        self.status, self.body = reply.status, reply.read()
        self.headers = {name.lower(): value for name, value in reply.getheaders()}


def asked(port: int, method: str, path: str, **headers: str) -> Came:
    """One request of the official's device."""
    wire = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        wire.request(method, path, headers={"cookie": f"{PLAIN_COOKIE}={TOKEN}", "accept": "*/*", **named})
        return Came(wire.getresponse())
    finally:
        wire.close()
