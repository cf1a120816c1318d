"""Files that are refused: over a real connection, as soon as the headers are there, without reading what follows."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest

from app.adapters import incoming
from app.adapters.incoming import RESERVE, Parts
from app.web.auth import digest, form_token
from app.web.limits import MOST_BODY, MOST_UPLOAD
from tests.web.league import league
from tests.web.serving import Served, serving
from tests.web.tus import BYTES, Answer, Sender, answer_on, told
from tests.web.uploading import NOBODYS

WHOLE = 50_000_000
"""Bytes of a body that is begun; the test sends a few of them, so an answer is one that needed no more."""
FIRST = bytes(range(256))
FORM = "multipart/form-data; boundary=x"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("refusals")
    with league(data) as made:
        for who in ("supervisor", "coordinator", "official"):
            made.browser(who)
    with serving(data) as running:
        yield running


def sender_of(served: Served, who: str) -> Sender:
    """The device of a person."""
    token = f"{who}-test"
    return Sender(served.port, token, form_token(served.league.app.state.secret, digest(token)))


@pytest.fixture
def sender(served: Served) -> Sender:
    return sender_of(served, "supervisor")


def answer(wire: socket.socket) -> Answer:
    """What is answered while most of the body is still to come."""
    with wire:
        return answer_on(wire)


def words(refusal: Answer) -> str:
    """What the person reads."""
    told: str = json.loads(refusal.body)["error"]
    return told


def parts(served: Served) -> Parts:
    return Parts(served.league.app.state.library)


# ------------------------------------------------------------------------------------- a piece of a file


def test_a_piece_for_another_place_is_refused_with_the_right_one(sender: Sender) -> None:
    place = sender.place(2 * WHOLE)
    sender.send(place, 0, FIRST)
    refusal = answer(sender.half_sent(place, 9, WHOLE, FIRST))
    assert (refusal.status, refusal.offset) == (409, len(FIRST))
    assert sender.stands(place).offset == len(FIRST)


def test_a_piece_longer_than_what_was_announced_is_refused(sender: Sender) -> None:
    place = sender.place(WHOLE)
    refusal = answer(sender.half_sent(place, 0, WHOLE + 1, FIRST))
    assert refusal.status == 413
    assert (
        words(refusal)
        == "More came than was announced, so nothing of it was kept. Has the file changed? Choose it again."
    )
    assert sender.stands(place).offset == 0


def test_a_piece_without_room_on_the_disk_is_refused(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    place = sender.place(WHOLE)
    monkeypatch.setattr("app.web.pages.uploads.free_bytes", lambda _: RESERVE + len(FIRST))
    refusal = answer(sender.half_sent(place, 0, WHOLE, FIRST))
    assert refusal.status == 507
    assert words(refusal) == "The server’s disk is full. What has come in is kept, and goes on once there is room."
    assert sender.send(place, 0, FIRST).status == 204  # as much as there is room for


def test_a_piece_of_a_file_that_another_writes_is_refused(served: Served, sender: Sender) -> None:
    place = sender.place(WHOLE)
    with parts(served).writing(place.rsplit("/", 1)[1]):
        refusal = answer(sender.half_sent(place, 0, WHOLE, FIRST))
    assert (refusal.status, words(refusal)) == (423, "This file is being sent from another window.")


def test_a_piece_of_nobodys_or_anothers_file_is_not_found(served: Served, sender: Sender) -> None:
    place = sender.place(WHOLE)
    path = parts(served).path(place.rsplit("/", 1)[1]).with_suffix(".json")
    path.write_text(path.read_text().replace('"orla"', '"another"'))
    for other in (place, f"/uploads/{NOBODYS}", "/uploads/x"):
        refusal = answer(sender.half_sent(other, 0, WHOLE, FIRST))
        assert refusal.status == 404
    assert parts(served).size(place.rsplit("/", 1)[1]) == 0


def test_a_piece_that_is_none_is_refused(sender: Sender) -> None:
    place = sender.place(WHOLE)
    for status, headers in (
        (415, {"content_type": "text/plain"}),
        (400, {"upload_offset": ""}),
        (412, {"tus_resumable": ""}),
    ):
        named = {"upload_offset": "0", "content_type": BYTES, **headers}
        assert answer(sender.half_asked("PATCH", place, WHOLE, FIRST, **named)).status == status


@pytest.mark.parametrize(("who", "status"), [("coordinator", 403), ("official", 403), ("nobody", 401)])
def test_whoever_may_not_send_files_is_told_so(served: Served, sender: Sender, who: str, status: int) -> None:
    place = sender.place(WHOLE)
    assert answer(sender_of(served, who).half_sent(place, 0, WHOLE, FIRST)).status == status
    assert parts(served).size(place.rsplit("/", 1)[1]) == 0


def test_a_sender_without_the_forms_key_is_told_so(sender: Sender) -> None:
    place = sender.place(WHOLE)
    refusal = answer(replace(sender, key="").half_sent(place, 0, WHOLE, FIRST))
    assert (refusal.status, words(refusal)) == (403, "This form was opened before you signed in.")


# ------------------------------------------------------------------------------------- an announcement


def announcement(sender: Sender, length: int, body: int) -> Answer:
    """The answer to a file whose first bytes were to come with the announcement."""
    named = {"upload_length": str(length), "upload_metadata": told({}), "content_type": BYTES}
    return answer(sender.half_asked("POST", "/uploads", body, FIRST, **named))


def test_a_file_larger_than_any_is_refused(sender: Sender) -> None:
    refusal = announcement(sender, MOST_UPLOAD + 1, WHOLE)
    assert (refusal.status, words(refusal)) == (413, "This file is larger than any that is taken here.")


def test_a_file_without_room_on_the_disk_is_refused(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(incoming, "free_bytes", lambda _: RESERVE + 10**7)
    refusal = announcement(sender, WHOLE, WHOLE)
    assert refusal.status == 507
    assert words(refusal).startswith("This file takes 0.05 GB, and there is room for 0.0")


def test_first_bytes_that_are_more_than_the_file_are_refused(sender: Sender) -> None:
    assert announcement(sender, 9, WHOLE).status == 413


# ------------------------------------------------------------------------------------- a form as a whole


@contextmanager
def form(sender: Sender, path: str, length: int) -> Iterator[socket.socket]:
    """A form with a file that was begun."""
    begun = b'--x\r\nContent-Disposition: form-data; name="files"; filename="high.mp4"\r\n\r\n' + FIRST
    with sender.half_asked("POST", path, length, begun, content_type=FORM) as wire:
        yield wire


def test_a_form_without_room_on_the_disk_is_refused(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.web.uploads.free_bytes", lambda _: RESERVE + 10**7)
    with form(sender, "/recordings", WHOLE) as wire:
        refusal = answer_on(wire)
    assert refusal.status == 507
    assert words(refusal).startswith("These files take 0.1 GB, and there is room for 0.0 GB.")


@pytest.mark.parametrize(("who", "status"), [("coordinator", 403), ("nobody", 401)])
def test_a_form_of_whoever_may_not_send_it_is_refused(served: Served, who: str, status: int) -> None:
    with form(sender_of(served, who), "/recordings", WHOLE) as wire:
        assert answer_on(wire).status == status


@pytest.mark.parametrize(("path", "most"), [("/recordings", MOST_UPLOAD), ("/people/import/preview", MOST_BODY)])
def test_a_form_larger_than_any_is_refused(sender: Sender, path: str, most: int) -> None:
    with form(sender, path, most + 1) as wire:
        assert answer_on(wire).status == 413
