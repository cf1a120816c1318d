"""Who was looking a moment ago is believed, and what changes for them acts at once."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.people import Role
from app.store.devices import revoke_device, seen_device
from app.store.engine import Database
from app.store.people import set_chief
from app.store.tables import DeviceRow, PersonRow
from app.web import auth, recent
from app.web.auth import digest
from app.web.recent import MOST, Recent
from app.web.viewer import Viewer
from tests.plays import add_plays, publish
from tests.web.league import Browser, League, league
from tests.web.sitting import SHORT, decision, opened, sent, started

TOKEN = digest("official-test")
SIL = Viewer("sil", "Sil Marram", Role.OFFICIAL, "ferry", TOKEN)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        yield made


@pytest.fixture
def phone(served: League) -> Browser:
    return served.browser("official")


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Devices that were looked up in the database."""
    found: list[str] = []
    really = auth._read_viewer

    def counting(db: Database, name: str, at: datetime) -> tuple[Viewer, bool]:
        found.append(name)
        return really(db, name, at)

    monkeypatch.setattr(auth, "_read_viewer", counting)
    return found


def is_in(browser: Browser, path: str = "/due") -> bool:
    return browser.get(path).status_code == 200


# ------------------------------------------------------------------------------------------- what is believed


def test_somebody_who_asks_again_is_not_looked_up_again(phone: Browser, reads: list[str]) -> None:
    assert [is_in(phone) for _ in range(5)] == [True] * 5
    assert reads == [TOKEN]


def test_not_for_longer_than_some_seconds(phone: Browser, reads: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recent, "BELIEVED_S", 0.0)
    assert [is_in(phone) for _ in range(3)] == [True] * 3
    assert reads == [TOKEN] * 3


def test_answers_of_others_make_nobody_be_looked_up_again(served: League, reads: list[str]) -> None:
    served.database.change(add_plays)
    quiz = served.database.change(publish, cut=SHORT)
    phone, chief = served.browser("official"), served.browser("chief")
    sitting = started(phone, quiz)
    nonce = opened(phone, sitting, 0)
    assert is_in(chief)
    reads.clear()
    assert sent(phone, sitting, "/looks/0/answer", decision(nonce)).status_code == 200
    assert is_in(chief)
    assert digest("chief-test") not in reads


def test_a_made_up_cookie_is_looked_up_each_time_and_takes_no_room(served: League, reads: list[str]) -> None:
    guest = served.browser()
    for n in range(4):
        guest.cookies.clear()
        guest.cookies.set(auth.PLAIN_COOKIE, f"made-up-{n}")
        assert not is_in(guest)
    assert len(reads) == 4
    assert served.app.state.recent.find(digest("made-up-0"), served.database.changes) is None


def test_what_was_read_before_a_change_is_not_believed_after_it() -> None:
    """A request read the device, then it was signed out, then the request came to keep what it had read."""
    kept = Recent()
    kept.keep(SIL, changes=7)
    assert kept.find(TOKEN, 7) == SIL
    assert kept.find(TOKEN, 8) is None


def test_what_is_kept_does_not_grow_without_end() -> None:
    kept = Recent()
    for n in range(MOST * 2 + 1):
        kept.keep(Viewer("sil", "", Role.OFFICIAL, device=str(n)), changes=1)
    assert len(kept._kept) <= MOST


# ------------------------------------------------------------------------------------------- what acts at once


def erase(session: Session) -> None:
    session.get_one(PersonRow, "sil").erased_at = datetime.now(UTC)


def end(session: Session) -> None:
    session.get_one(DeviceRow, TOKEN).ends_at = datetime.now(UTC)


@pytest.mark.parametrize("change", [erase, end, lambda session: revoke_device(session, TOKEN, datetime.now(UTC))])
def test_whoever_is_out_is_out_with_the_next_request(
    served: League, phone: Browser, change: Callable[[Session], None]
) -> None:
    assert is_in(phone)
    served.database.change(change)
    assert phone.get("/due").headers["location"] == "/sign-in"


@pytest.mark.parametrize("path", ["/people/sil/sign-out", f"/me/devices/{TOKEN}/sign-out"])
def test_signing_out_acts_at_once_from_either_side(served: League, phone: Browser, path: str) -> None:
    by = phone if path.startswith("/me") else served.browser("supervisor")
    other = served.browser("official", "tablet")
    assert (is_in(phone), is_in(other)) == (True, True)
    assert by.post(path, data={"form_token": by.form_key}).status_code == 303
    assert (is_in(phone), is_in(other)) == (False, path.startswith("/me"))


def test_another_role_acts_at_once_both_ways(served: League) -> None:
    coordinator, desk = served.browser("coordinator"), served.browser("supervisor")
    for role, statuses in (("supervisor", (200, 200)), ("evaluator", (403, 403)), ("coordinator", (200, 403))):
        fields = {"name": "Piet Sand", "role": role, "email": "piet@example.org", "form_token": desk.form_key}
        assert desk.post("/people/piet", data=fields).status_code == 303
        assert tuple(coordinator.get(path).status_code for path in ("/people", "/clips")) == statuses


def test_a_chief_is_one_no_longer_than_they_lead(served: League) -> None:
    chief = served.browser("chief")
    assert is_in(chief, "/crew")
    assert served.app.state.recent.find(digest("chief-test"), served.database.changes).role is Role.CHIEF
    served.database.change(set_chief, "ferry", None)
    assert is_in(chief, "/crew")
    assert served.app.state.recent.find(digest("chief-test"), served.database.changes).role is Role.OFFICIAL


def test_what_another_process_changes_acts_when_the_seconds_are_over(
    served: League, phone: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recent, "BELIEVED_S", 0.3)
    assert is_in(phone)
    other = Database(served.database.url)
    other.change(revoke_device, TOKEN, datetime.now(UTC))
    other.close()
    time.sleep(0.35)
    assert not is_in(phone)


# ------------------------------------------------------------------------------------------- seen


def seen_at(served: League) -> datetime:
    with served.database.read() as session:
        found: Any = seen_device(session, TOKEN, datetime.now(UTC))
    at: datetime = found.seen_at
    return at


def test_a_device_is_noted_as_seen_once_a_day(served: League, phone: Browser) -> None:
    def some_days_ago(session: Session) -> None:
        session.get_one(DeviceRow, TOKEN).seen_at = datetime.now(UTC) - timedelta(days=50)

    served.database.change(some_days_ago)
    assert is_in(phone)
    assert datetime.now(UTC) - seen_at(served) < timedelta(minutes=1)
    before = served.database.changes
    assert is_in(phone)
    assert served.database.changes == before


def test_a_device_that_nobody_used_for_weeks_is_signed_out(served: League, phone: Browser) -> None:
    def long_ago(session: Session) -> None:
        session.get_one(DeviceRow, TOKEN).seen_at = datetime.now(UTC) - timedelta(days=61)

    served.database.change(long_ago)
    assert not is_in(phone)
