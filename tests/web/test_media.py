"""Media by signed address: every status of RFC 9110 that a video element meets, and nothing for another device."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.requests import Request

from app.domain.people import Role
from app.store.devices import revoke_device
from app.web import media
from app.web.auth import digest, now
from app.web.media import MEDIA, asset_of, media_address
from app.web.ranges import reply_to
from app.web.viewer import Viewer
from tests.web.league import PEOPLE, Browser, League, league

DIGEST = hashlib.sha256(b"a recording").hexdigest()
BYTES = bytes(range(256)) * 4000
"""A little over three blocks."""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[League]:
    with league(tmp_path_factory.mktemp("media")) as made:
        for medium in MEDIA.values():
            path = medium.place(made.app.state.library, DIGEST)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(BYTES)
        yield made


@pytest.fixture(scope="module")
def browser(served: League) -> Browser:
    return served.browser("official")


def address(served: League, who: str = "official", kind: str = "picture", label: str = "test", **options: Any) -> str:
    """The address that a page would give to a person's device."""
    return media_address(_request(served, who, label), kind, DIGEST, **options)


def _request(served: League, who: str, label: str = "test") -> Request:
    viewer = Viewer(PEOPLE[who].id, "", Role.OFFICIAL, device=digest(f"{who}-{label}"))
    return Request({"type": "http", "app": served.app, "state": {"viewer": viewer}, "headers": []})


def test_the_whole_file_comes_with_what_a_browser_needs_to_keep_it(served: League, browser: Browser) -> None:
    reply = browser.get(address(served))
    assert (reply.status_code, reply.content) == (200, BYTES)
    assert reply.headers["content-type"] == "video/mp4"
    assert reply.headers["accept-ranges"] == "bytes"
    assert reply.headers["content-length"] == str(len(BYTES))
    assert reply.headers["content-disposition"] == "inline"
    assert reply.headers["cross-origin-resource-policy"] == "same-origin"
    assert reply.headers["x-content-type-options"] == "nosniff"
    kept = reply.headers["cache-control"]
    assert kept.startswith("private, max-age=")
    assert kept.endswith(", immutable")
    assert 6 * 3600 - 60 < int(kept.split("=")[1].split(",")[0]) <= 7 * 3600


@pytest.mark.parametrize("kind", sorted(MEDIA))
def test_each_kind_has_its_type(served: League, browser: Browser, kind: str) -> None:
    reply = browser.head(address(served, kind=kind))
    assert (reply.status_code, reply.headers["content-type"]) == (200, MEDIA[kind].type)
    assert (reply.content, reply.headers["content-length"]) == (b"", str(len(BYTES)))


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [
        ("bytes=0-0", 0, 0),
        ("bytes=0-", 0, len(BYTES) - 1),
        ("bytes=1000-2999", 1000, 2999),
        ("bytes=300000-900000", 300_000, 900_000),
        ("bytes=1000-99999999999", 1000, len(BYTES) - 1),
        ("bytes=-10", len(BYTES) - 10, len(BYTES) - 1),
        ("bytes=-99999999999", 0, len(BYTES) - 1),
    ],
)
def test_a_range_is_answered_with_just_that(
    served: League, browser: Browser, asked: str, first: int, last: int
) -> None:
    reply = browser.get(address(served), headers={"range": asked})
    assert (reply.status_code, reply.content) == (206, BYTES[first : last + 1])
    assert reply.headers["content-range"] == f"bytes {first}-{last}/{len(BYTES)}"
    assert reply.headers["content-length"] == str(last + 1 - first)


@pytest.mark.parametrize("asked", [f"bytes={len(BYTES)}-", f"bytes={len(BYTES)}-{len(BYTES) + 9}", "bytes=-0"])
def test_a_range_outside_the_file_is_not_satisfiable(served: League, browser: Browser, asked: str) -> None:
    reply = browser.get(address(served), headers={"range": asked})
    assert (reply.status_code, reply.content) == (416, b"")
    assert reply.headers["content-range"] == f"bytes */{len(BYTES)}"


@pytest.mark.parametrize(
    "asked", ["bytes=5-1", "bytes=-", "bytes=a-b", "frames=0-5", "bytes=0-1,5-9", "bytes=" + "9" * 40]
)
def test_what_is_no_single_range_is_answered_with_the_whole(served: League, browser: Browser, asked: str) -> None:
    assert browser.get(address(served), headers={"range": asked}).status_code == 200


def test_a_browser_that_has_it_is_told_so(served: League, browser: Browser) -> None:
    where = address(served)
    etag = browser.head(where).headers["etag"]
    assert etag.startswith('"')
    for known in (etag, f"W/{etag}", f'"x", {etag}', "*"):
        reply = browser.get(where, headers={"if-none-match": known, "range": "bytes=0-9"})
        assert (reply.status_code, reply.content, reply.headers["etag"]) == (304, b"", etag)
    assert browser.get(where, headers={"if-none-match": '"x"'}).status_code == 200


def test_a_range_of_what_may_have_changed_is_answered_with_the_whole(served: League, browser: Browser) -> None:
    where = address(served)
    etag = browser.head(where).headers["etag"]
    asked = {"range": "bytes=0-9"}
    assert browser.get(where, headers={**asked, "if-range": etag}).status_code == 206
    for other in ('"x"', f"W/{etag}", "Thu, 10 Sep 2026 18:00:00 GMT"):
        assert browser.get(where, headers={**asked, "if-range": other}).status_code == 200


def test_a_download_is_offered_as_a_file_only_by_an_address_that_allows_it(served: League, browser: Browser) -> None:
    kept = browser.head(address(served, download=True))
    assert kept.headers["content-disposition"] == "attachment"
    assert browser.head(f"{address(served)}?download=1").headers["content-disposition"] == "inline"


def test_an_address_is_the_same_within_the_hour_and_names_nothing(served: League) -> None:
    where = address(served)
    assert address(served) == where
    assert DIGEST not in where
    assert DIGEST[:16] not in where
    assert where.removeprefix("/media/").isascii()


def test_two_people_and_two_devices_have_different_addresses_and_tags_for_the_same_file(served: League) -> None:
    places = [("official", "test"), ("other official", "test"), ("official", "second")]
    found = [(who, label, address(served, who, label=label)) for who, label in places]
    assert len({where for *_, where in found}) == 3
    tags = {served.browser(who, label).head(where).headers["etag"] for who, label, where in found}
    assert len(tags) == 3


@pytest.mark.parametrize(("who", "label"), [("official", "second"), ("other official", "test"), ("supervisor", "test")])
def test_an_address_of_another_device_is_not_found(served: League, who: str, label: str) -> None:
    assert served.browser(who, label).get(address(served)).status_code == 404


def test_a_guest_is_asked_to_sign_in(served: League) -> None:
    assert served.browser().get(address(served), headers={"accept": "*/*"}).status_code == 401


def test_a_revoked_device_has_no_media(served: League) -> None:
    gone = served.browser("chief", "lost phone")
    where = address(served, "chief", label="lost phone")
    assert gone.head(where).status_code == 200
    served.database.change(revoke_device, digest("chief-lost phone"), now())
    assert gone.head(where, headers={"accept": "*/*"}).status_code == 401


def test_an_address_ends(served: League, monkeypatch: pytest.MonkeyPatch) -> None:
    request = _request(served, "official")
    token = address(served).removeprefix("/media/")
    asset = asset_of(request, token, now())
    assert asset is not None
    assert timedelta(hours=6) <= asset.end - now() <= timedelta(hours=7)
    assert asset_of(request, token, asset.end - timedelta(seconds=1)) is not None
    assert asset_of(request, token, asset.end) is None
    monkeypatch.setattr(media, "GOOD_H", -2)
    assert served.browser("official").get(address(served)).status_code == 404


@pytest.mark.parametrize("token", ["x", "%00", "é", "A" * 71, "A" * 300, "-" * 72, "%2e%2e%2fleague.db"])
def test_an_address_that_nobody_gave_out_is_not_found(browser: Browser, token: str) -> None:
    assert browser.get(f"/media/{token}").status_code == 404


def test_every_single_changed_letter_makes_an_address_worthless(served: League) -> None:
    request, token = _request(served, "official"), address(served).removeprefix("/media/")
    for place, letter in enumerate(token):
        changed = token[:place] + ("A" if letter != "A" else "B") + token[place + 1 :]
        assert asset_of(request, changed, now()) is None


def test_a_file_that_is_gone_is_not_found(served: League, browser: Browser) -> None:
    other = hashlib.sha256(b"gone").hexdigest()
    assert browser.get(media_address(_request(served, "official"), "tape", other)).status_code == 404


@given(first=st.integers(0, 50), last=st.integers(0, 50), size=st.integers(0, 40))
def test_any_range_is_cut_to_the_file_or_refused(first: int, last: int, size: int) -> None:
    reply = reply_to({"range": f"bytes={first}-{last}"}, '"e"', size)
    if last < first:
        assert (reply.status, reply.stretch.length) == (200, size)
    elif first >= size:
        assert (reply.status, reply.content_range) == (416, f"bytes */{size}")
    else:
        assert reply.status == 206
        assert list(range(reply.stretch.first, reply.stretch.end)) == list(range(size))[first : last + 1]
