"""Static files go out packed where the browser takes that, and are the same as on the disk."""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.web.render import STATIC, build
from tests.web.league import league
from tests.web.serving import Reply, Wire, serving

TEXT, BYTES = "js/elements/one-look.js", "warm-up.mp4"


@pytest.fixture
def wire(tmp_path: Path) -> Iterator[Wire]:
    with league(tmp_path):
        pass
    with serving(tmp_path) as served:
        made = Wire(served)
        yield made
        made.close()


def got(wire: Wire, path: str, accepts: str) -> Reply:
    return wire.ask("GET", f"/static/{build()}/{path}", **{"accept-encoding": accepts})


def test_a_script_is_packed_for_who_takes_it_and_bare_for_others(wire: Wire) -> None:
    whole = (STATIC / TEXT).read_bytes()
    packed, bare = got(wire, TEXT, "gzip, br"), got(wire, TEXT, "br")
    assert (packed.status, bare.status) == (200, 200)
    assert packed.headers["content-encoding"] == "gzip"
    assert gzip.decompress(packed.body) == whole == bare.body
    assert len(packed.body) < len(whole) / 2
    assert "content-encoding" not in bare.headers
    for reply in (packed, bare):
        assert reply.headers["vary"] == "Accept-Encoding"
        assert reply.headers["cache-control"] == "public, max-age=31536000, immutable"
        assert reply.headers["content-type"].startswith("text/javascript")
        assert reply.headers["content-length"] == str(len(reply.body))


def test_a_film_is_never_packed(wire: Wire) -> None:
    reply = got(wire, BYTES, "gzip")
    assert reply.body == (STATIC / BYTES).read_bytes()
    assert "content-encoding" not in reply.headers
