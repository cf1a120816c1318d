"""Files in pieces (tus 1.0): what is answered, and to whom; what is kept, cancelled and forgotten."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from app.actions.intake import clear_spool, preparation_key
from app.actions.upload import settle_uploads
from app.adapters import incoming
from app.adapters.files import Library
from app.adapters.incoming import KEPT_FOR, Parts
from app.domain.recording import Recording
from app.store.jobs import jobs_by_key
from app.store.recordings import list_recordings
from app.web.limits import MOST_UPLOAD
from tests.web.league import Browser, League, league
from tests.web.tus import told
from tests.web.uploading import (
    FILM,
    NOBODYS,
    announced,
    ask,
    begun,
    facts_of,
    name_of,
    sent,
    spooled,
    stands,
)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[League]:
    """A league in which nobody does the long work; each test brings files of its own."""
    with league(tmp_path_factory.mktemp("uploads")) as made:
        yield made


@pytest.fixture
def browser(served: League) -> Browser:
    return served.browser("supervisor")


# ------------------------------------------------------------------------------- the protocol


def test_the_server_says_what_it_speaks(browser: Browser) -> None:
    reply = ask(browser, "OPTIONS", "/uploads", tus_resumable="")
    assert (reply.status_code, reply.headers["tus-resumable"], reply.headers["tus-version"]) == (204, "1.0.0", "1.0.0")
    assert reply.headers["tus-extension"] == "creation,creation-with-upload,termination,expiration"
    assert reply.headers["tus-max-size"] == str(MOST_UPLOAD)


def test_a_file_in_pieces_becomes_a_recording_with_all_that_was_said(served: League, browser: Browser) -> None:
    place = begun(browser, len(FILM), until="2027-06-01", download="yes", consent="Both clubs, 1 Sept", angle="Süd")
    assert len(name_of(place)) == 32  # 128 bits in hexadecimal digits
    first = sent(browser, place, 0, FILM[:700])
    assert (first.status_code, first.headers["upload-offset"]) == (204, "700")
    assert first.headers["upload-expires"].endswith(" GMT")
    last = sent(browser, place, 700, FILM[700:])
    assert (last.status_code, last.headers["upload-offset"]) == (204, str(len(FILM)))
    assert "upload-expires" not in last.headers
    facts = facts_of(served, place)
    said = facts.recording
    assert (said.file, said.angle, said.see, str(said.until)) == ("high.mp4", "Süd", "the crew", "2027-06-01")
    assert (said.download, said.injury, said.consent) == (True, False, "Both clubs, 1 Sept")
    assert (facts.by, facts.bytes, spooled(served, place)) == ("orla", len(FILM), FILM)
    with served.database.read() as session:
        assert len(jobs_by_key(session, [preparation_key(facts.id)])) == 1


def test_its_bytes_may_come_with_the_announcement(served: League, browser: Browser) -> None:
    assert spooled(served, begun(browser, len(FILM), FILM)) == FILM
    place = begun(browser, len(FILM), FILM[:9])
    assert stands(browser, place) == 9
    assert spooled(served, begun(browser, 0)) == b""


def test_where_a_file_stands_is_told_and_not_kept_by_anyone_between(browser: Browser) -> None:
    place = begun(browser, 100, FILM[:30])
    reply = ask(browser, "HEAD", place)
    assert (reply.headers["upload-offset"], reply.headers["upload-length"]) == ("30", "100")
    assert reply.headers["cache-control"] == "no-store"


def test_another_version_is_refused_and_ours_named(browser: Browser) -> None:
    place = begun(browser, 9)
    for method, path in (("POST", "/uploads"), ("HEAD", place), ("PATCH", place), ("DELETE", place)):
        for version in ("0.2.2", ""):
            reply = ask(browser, method, path, tus_resumable=version)
            assert (reply.status_code, reply.headers["tus-version"]) == (412, "1.0.0")
    assert stands(browser, place) == 0


def test_a_piece_that_does_not_fit_is_refused_and_changes_nothing(browser: Browser) -> None:
    place = begun(browser, 100, FILM[:30])
    elsewhere = sent(browser, place, 29, b"x")
    assert (elsewhere.status_code, elsewhere.headers["upload-offset"]) == (409, "30")
    assert sent(browser, place, 30, FILM[:71]).status_code == 413
    assert sent(browser, place, 30, b"x", content_type="application/octet-stream").status_code == 415
    assert sent(browser, place, 30, b"x", content_type="").status_code == 415
    odd = [ask(browser, "PATCH", place, b"x", upload_offset=text).status_code for text in ("", "-1", "9" * 99, "3_0")]
    assert odd == [400] * 4
    assert stands(browser, place) == 30


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"upload_length": ""}, 400),
        ({"upload_length": "-5"}, 400),
        ({"upload_length": "1e9"}, 400),
        ({"upload_length": str(MOST_UPLOAD + 1)}, 413),
        ({"upload_length": "", "upload_defer_length": "1"}, 400),
        ({"upload_metadata": "filename ??"}, 400),
        ({"upload_metadata": "filename /w=="}, 400),
        ({"upload_metadata": "x" * 17_000}, 400),
        ({"upload_metadata": ""}, 422),
        ({"upload_metadata": told({"game": "../.."})}, 422),
    ],
)
def test_an_announcement_that_says_too_little_is_refused(
    served: League, browser: Browser, headers: dict[str, str], status: int
) -> None:
    before = list((served.data / "incoming").glob("*"))
    usual = {"upload_length": "9", "upload_metadata": told({})}
    assert ask(browser, "POST", "/uploads", None, **{**usual, **headers}).status_code == status
    assert list((served.data / "incoming").glob("*")) == before


def test_what_is_wrong_with_the_form_is_told_by_field(browser: Browser) -> None:
    reply = announced(browser, 9, new_game="", angle="x" * 121)
    assert reply.status_code == 422
    assert reply.json()["about"] == {
        "angle": "This is too long; 120 characters at most.",
        "new_game": "Choose a game that is here, or name a new one.",
    }


def test_a_network_that_lets_only_posts_pass_is_served_too(browser: Browser) -> None:
    place = begun(browser, 20)
    reply = ask(browser, "POST", place, FILM[:9], upload_offset="0", x_http_method_override="PATCH")
    assert (reply.status_code, stands(browser, place)) == (204, 9)
    assert ask(browser, "POST", place, x_http_method_override="DELETE").status_code == 204
    assert ask(browser, "HEAD", place).status_code == 404


# ------------------------------------------------------------------------------- whose


def test_a_file_is_its_senders_alone(served: League, browser: Browser) -> None:
    place = begun(browser, 20, FILM[:9])
    path = served.data / "incoming" / f"{name_of(place)}.json"
    path.write_text(path.read_text().replace('"orla"', '"another"'))
    assert [ask(browser, method, place).status_code for method in ("HEAD", "PATCH", "DELETE")] == [404] * 3
    assert [ask(browser, method, f"/uploads/{NOBODYS}").status_code for method in ("HEAD", "DELETE")] == [404] * 2
    assert (served.data / "incoming" / name_of(place)).stat().st_size == 9


@pytest.mark.parametrize("who", ["coordinator", "evaluator", "chief", "official", "outsider", ""])
def test_nobody_but_the_supervisor_sends_files(served: League, browser: Browser, who: str) -> None:
    place, other = begun(browser, 20), served.browser(who)
    status = 403 if who else 401
    asked = [announced(other, 9), *(ask(other, method, place) for method in ("HEAD", "PATCH", "DELETE"))]
    assert [reply.status_code for reply in asked] == [status] * 4


def test_without_the_forms_key_nothing_is_changed(browser: Browser) -> None:
    place = begun(browser, 20)
    asked = [
        ask(browser, "POST", "/uploads", upload_length="9", upload_metadata=told({}), x_form_token=""),
        sent(browser, place, 0, b"x", x_form_token="another"),
        ask(browser, "DELETE", place, x_form_token=""),
        sent(browser, place, 0, b"x", sec_fetch_site="cross-site"),
    ]
    assert [reply.status_code for reply in asked] == [403] * 4
    assert stands(browser, place) == 0


@pytest.mark.parametrize("name", ["x", "..%2fleague.db", "%00", "a" * 300, "9" * 40, f"{NOBODYS}.json"])
def test_an_id_that_is_none_is_not_found(browser: Browser, name: str) -> None:
    asked = [ask(browser, method, f"/uploads/{name}") for method in ("HEAD", "PATCH", "DELETE")]
    assert [reply.status_code for reply in asked] == [404] * 3


# ------------------------------------------------------------------------------- the same again


def test_a_file_that_is_announced_again_goes_on_where_it_stopped(browser: Browser) -> None:
    place = begun(browser, 100, FILM[:30], mark="100-5-ab")
    again = announced(browser, 100, mark="100-5-ab")
    assert (again.headers["location"], again.headers["upload-offset"]) == (place, "30")
    others = [begun(browser, 100, mark="100-6-ab"), begun(browser, 101, mark="100-5-ab"), begun(browser, 100)]
    assert place not in others
    assert len(set(others)) == 3


def test_files_of_one_batch_are_of_one_new_game(served: League, browser: Browser) -> None:
    batch = {"batch": "0123456789abcdef", "new_game": "Cockle Bay v Samphire", "played_on": "2026-09-05"}
    games = [facts_of(served, begun(browser, 3, b"abc", **batch)).recording.game for _ in range(2)]
    assert games == ["cockle-bay-v-samphire-0123456789abcdef"] * 2
    odd = facts_of(served, begun(browser, 3, b"abc", **{**batch, "batch": "../x"})).recording.game
    assert odd not in games


def test_what_is_whole_is_kept_once_however_often_it_is_asked_for(served: League, browser: Browser) -> None:
    place = begun(browser, len(FILM), FILM)
    assert [stands(browser, place) for _ in range(2)] == [len(FILM)] * 2
    assert sent(browser, place, len(FILM), b"").status_code == 409
    assert ask(browser, "DELETE", place).status_code == 409
    settle_uploads(served.database, Library(served.data), now=datetime.now(UTC))
    with served.database.read() as session:
        assert [facts.id for facts in list_recordings(session)].count(name_of(place)) == 1


def test_a_recording_that_was_removed_does_not_come_back(served: League, browser: Browser) -> None:
    place = begun(browser, 3, b"abc", game="none", new_game="")
    with served.database.read() as session:
        (job,) = jobs_by_key(session, [preparation_key(name_of(place))]).values()
    key = {"form_token": browser.form_key}
    browser.post(f"/jobs/{job.id}/cancel", data={**key, "back": "/recordings"})
    assert browser.post(f"/recordings/{name_of(place)}/remove", data=key).status_code == 303
    settle_uploads(served.database, Library(served.data), now=datetime.now(UTC))
    assert ask(browser, "HEAD", place).status_code == 404


def test_a_file_whose_game_went_meanwhile_is_kept_without_it(served: League, browser: Browser) -> None:
    place = begun(browser, 3, game="was-removed", new_game="")
    sent(browser, place, 0, b"abc")
    assert facts_of(served, place).recording.game is None


# ------------------------------------------------------------------------------- cancelled, forgotten


def test_a_cancelled_file_leaves_nothing(served: League, browser: Browser) -> None:
    place = begun(browser, 100, FILM[:30])
    assert ask(browser, "DELETE", place).status_code == 204
    assert [ask(browser, method, place).status_code for method in ("HEAD", "DELETE")] == [404] * 2
    assert list((served.data / "incoming").glob(f"{name_of(place)}*")) == []


def test_a_file_that_does_not_go_on_for_long_is_gone_and_its_room_given_back(served: League, browser: Browser) -> None:
    place = begun(browser, 100, FILM[:30])
    path = served.data / "incoming" / name_of(place)
    long_ago = (datetime.now(UTC) - KEPT_FOR - timedelta(minutes=1)).timestamp()
    os.utime(path, (long_ago, long_ago))
    assert [ask(browser, method, place).status_code for method in ("HEAD", "DELETE")] == [410] * 2
    assert sent(browser, place, 30, b"x").status_code == 410
    begun(browser, 9)  # whoever announces another one finds the room
    assert not path.exists()
    assert ask(browser, "HEAD", place).status_code == 404


def test_a_whole_file_that_was_not_kept_is_kept_at_the_next_start_however_late(served: League) -> None:
    parts = Parts(Library(served.data))
    made = incoming.Announced(
        length=3, by="orla", mark="", recording=Recording(id="e" * 32, file="late.mp4", angle="High")
    )
    parts.announce(made)
    parts.path(made.id).write_bytes(b"abc")
    for path in (served.data / "incoming").glob(f"{made.id}*"):
        os.utime(path, (0, 0))
    settle_uploads(served.database, Library(served.data), now=datetime.now(UTC))
    assert spooled(served, f"/{made.id}") == b"abc"
    with served.database.read() as session:
        assert made.id in [facts.id for facts in list_recordings(session)]


def test_what_waits_for_its_row_is_not_swept_from_the_spool(served: League) -> None:
    parts = Parts(Library(served.data))
    made = incoming.Announced(length=3, by="orla", mark="", recording=Recording(id="f" * 32, file="a", angle="High"))
    parts.announce(made)
    parts.path(made.id).write_bytes(b"abc")
    parts.land(made.id)
    os.utime(served.data / "spool" / made.id, (0, 0))
    served.database.change(clear_spool, Library(served.data), now=datetime.now(UTC))
    assert spooled(served, f"/{made.id}") == b"abc"
