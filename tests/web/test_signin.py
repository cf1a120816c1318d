"""Coming in and going out: passwords and who guesses them, links that work once, devices that are forgotten at once."""

from __future__ import annotations

import logging
import re
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from httpx2 import Response
from sqlmodel import Session
from starlette.testclient import TestClient

from app.actions.signin import accept_invite, invite_person
from app.domain.errors import NotFound
from app.store.devices import list_devices
from app.store.people import password_hash, set_password_hash
from app.store.tables import InviteRow, PersonRow
from app.web import passwords
from app.web.auth import PLAIN_COOKIE, SECURE_COOKIE, digest
from app.web.limits import Guesses
from app.web.passwords import weakness
from tests.web.league import ADDRESS, League, league

PASSWORD = "four plain words here"
MAIL = "orla@example.org"
HASHED = passwords._hash.hash(PASSWORD)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(set_password_hash, "orla", HASHED, datetime.now(UTC))
        yield made


def at(served: League, host: str = "192.0.2.1") -> TestClient:
    """A browser at an address of the network."""
    accept = {"accept": "text/html"}
    return TestClient(served.app, base_url=ADDRESS, client=(host, 5), follow_redirects=False, headers=accept)


def tried(browser: TestClient, password: str = PASSWORD, mail: str = MAIL) -> Response:
    return browser.post("/sign-in", data={"email": mail, "password": password})


def invited(served: League, person: str = "ines", secret: str = "a-secret", days: float = 3) -> str:
    now = datetime.now(UTC)
    served.database.change(invite_person, person, digest(secret), "orla", now + timedelta(days=days), now=now)
    return f"/invite/{secret}"


def devices(served: League, person: str) -> list[str]:
    with served.database.read() as session:
        return [each.digest for each in list_devices(session, person)]


# ------------------------------------------------------------------------------------------- by password


def test_the_right_password_lets_in_and_the_device_is_remembered_by_a_digest_alone(served: League) -> None:
    browser = at(served)
    reply = tried(browser)
    assert (reply.status_code, reply.headers["location"]) == (303, "/")
    token = browser.cookies[PLAIN_COOKIE]
    assert len(token) >= 43  # 256 bits
    assert devices(served, "orla") == [digest(token)]
    assert browser.get("/people").status_code == 200


def test_letters_of_a_mail_address_may_be_small_or_large(served: League) -> None:
    assert tried(at(served), mail="  Orla@Example.ORG ").status_code == 303


def test_a_wrong_password_and_an_unknown_address_get_the_same_reply(served: League) -> None:
    replies = [tried(at(served), "wrong", mail) for mail in (MAIL, "no@example.org", "piet@example.org")]
    texts = {re.sub(r'value="[^"]*"', "", reply.text) for reply in replies}
    assert {reply.status_code for reply in replies} == {422}
    assert len(texts) == 1
    assert all("set-cookie" not in reply.headers for reply in replies)


def test_whoever_is_unknown_costs_as_much_time_as_a_wrong_password(
    served: League, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked: list[str] = []

    class Counting:
        def verify(self, _: str, stored: str) -> bool:
            checked.append(stored)
            return False

    monkeypatch.setattr(passwords, "_hash", Counting())
    for mail in (MAIL, "no@example.org", "piet@example.org"):
        tried(at(served), "wrong", mail)
    costs = {re.sub(r"\$[^$]+\$[^$]+$", "", stored) for stored in checked}
    assert len(checked) == 3
    assert costs == {"$argon2id$v=19$m=19456,t=2,p=1"}


def test_a_form_without_its_fields_is_given_back_with_a_sentence(served: League) -> None:
    reply = at(served).post("/sign-in", data={"email": "some@example.org"})
    assert reply.status_code == 422
    assert "This is needed." in reply.text
    assert 'value="some@example.org"' in reply.text
    long = tried(at(served), "x" * 100_000)
    assert long.status_code == 422
    assert "x" * 100 not in long.text


# ------------------------------------------------------------------------------------------- who guesses


def test_whoever_guesses_waits_and_nobody_else_does(served: League) -> None:
    guesser, owner = at(served, "198.51.100.9"), at(served, "192.0.2.1")
    assert [tried(guesser, f"guess {n}").status_code for n in range(6)] == [422] * 5 + [429]
    waiting = tried(guesser)
    assert waiting.status_code == 429  # even with the right one, or a guess would be told from the wait
    assert 0 < int(waiting.headers["retry-after"]) <= 60
    assert tried(owner).status_code == 303
    assert tried(guesser, mail="other@example.org").status_code == 422


def test_one_address_cannot_go_through_all_accounts(served: League) -> None:
    guesser = at(served, "198.51.100.9")
    statuses = [tried(guesser, "guess", f"a{n}@example.org").status_code for n in range(21)]
    assert statuses == [422] * 20 + [429]
    assert tried(at(served, "192.0.2.1")).status_code == 303


def test_each_further_try_has_to_wait_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [1_800_000_000.0]
    monkeypatch.setattr(time, "time", lambda: clock[0])
    guesses, waits, began = Guesses(), [], clock[0]
    for _ in range(62):
        wait = guesses.wait_s("198.51.100.9", MAIL)
        clock[0] += wait
        waits.append(wait)
        assert guesses.wait_s("198.51.100.9", MAIL) == 0
        guesses.failed("198.51.100.9", MAIL)
    assert waits[:5] == [0] * 5
    assert 0 < max(waits[:20]) <= 60
    assert 600 < max(waits[20:60]) <= 3600
    assert max(waits[60:]) > 3600
    assert clock[0] - began > 86_000  # sixty guesses in a day, and no more


def test_what_was_typed_is_in_no_log(served: League, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    address = invited(served)
    browser = at(served)
    for n in range(6):
        tried(browser, f"typed-{n}", "typed@example.org")
    tried(at(served, "192.0.2.9"))
    at(served).post(address)
    at(served).get("/invite/made-up-secret")
    said = "\n".join(record.getMessage() for record in caplog.records if record.name.startswith("pennon"))
    assert "wrong password from 192.0.2.1 for nobody" in said
    assert "has to wait" in said
    token = str(browser.cookies.get(PLAIN_COOKIE))
    assert [word for word in ("typed-", "@example.org", PASSWORD, "a-secret", "made-up", token) if word in said] == []


# ------------------------------------------------------------------------------------------- passwords


@pytest.mark.parametrize(
    "password", ["", "seven77", "password", "PASSWORD1", "aaaaaaaaaaaa", "abababababab", "12345678", "x1" * 101]
)
def test_a_password_that_anybody_would_try_is_not_taken(served: League, password: str) -> None:
    address = invited(served, "piet")
    reply = at(served).post(address, data={"password": password})
    assert reply.status_code == 422
    assert devices(served, "piet") == []
    assert at(served).get(address).status_code == 200  # the link is as good as before
    assert weakness(password)


@pytest.mark.parametrize(
    "password", ["plain words", "pass word with  blanks", "ünïcødé-wörd", "'; DROP TABLE--", "x" * 9 + "yz"]
)
def test_any_other_password_is_and_its_hash_alone_is_kept(served: League, password: str) -> None:
    assert at(served).post(invited(served, "piet"), data={"password": password}).status_code == 303
    with served.database.read() as session:
        stored = password_hash(session, "piet")
    assert stored is not None
    assert stored.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    assert tried(at(served), password, "piet@example.org").status_code == 303
    assert tried(at(served), password[:-1], "piet@example.org").status_code == 422


# ------------------------------------------------------------------------------------------- links


def test_a_link_works_once_and_looking_at_it_does_not_use_it_up(served: League) -> None:
    address = invited(served)
    assert [at(served).get(address).status_code for _ in range(3)] == [200] * 3
    assert at(served).post(address).status_code == 303
    assert [at(served).post(address).status_code, at(served).get(address).status_code] == [404, 404]
    assert len(devices(served, "ines")) == 1


def test_of_two_who_follow_a_link_in_the_same_moment_one_comes_in(served: League) -> None:
    invited(served)
    ready, came = threading.Barrier(8), []

    def follow(n: int) -> None:
        ready.wait()
        try:
            served.database.change(accept_invite, digest("a-secret"), digest(str(n)), "", None, now=datetime.now(UTC))
            came.append(n)
        except NotFound:
            pass

    threads = [threading.Thread(target=follow, args=(n,)) for n in range(8)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert len(came) == 1
    assert len(devices(served, "ines")) == 1


def test_a_link_ends(served: League) -> None:
    address = invited(served, days=-0.001)
    assert (at(served).get(address).status_code, at(served).post(address).status_code) == (404, 404)
    assert devices(served, "ines") == []


def test_of_a_link_the_digest_alone_is_kept(served: League) -> None:
    invited(served)
    with served.database.read() as session:
        assert session.get(InviteRow, digest("a-secret")) is not None
        assert session.get(InviteRow, "a-secret") is None


@pytest.mark.parametrize("secret", ["", "%00", "a" * 3000, "é", "A-SECRET", "a-secret%20", "a-secre"])
def test_a_link_that_is_nearly_right_is_wrong(served: League, secret: str) -> None:
    invited(served)
    assert at(served).get(f"/invite/{secret}").status_code == 404
    assert at(served).post(f"/invite/{secret}").status_code in (404, 405)
    assert devices(served, "ines") == []


def test_a_phone_that_belonged_to_another_takes_a_link_and_forgets_whom_it_knew(served: League) -> None:
    phone = served.browser("official")
    before = devices(served, "sil")
    page = phone.get(invited(served)).text
    key = re.search(r'name="form_token" value="([^"]+)"', page)
    assert key is not None
    assert phone.post("/invite/a-secret", data={"form_token": key[1]}).status_code == 303
    assert len(before) == 1
    assert (devices(served, "sil"), len(devices(served, "ines"))) == ([], 1)


# ------------------------------------------------------------------------------------------- the cookie


@pytest.mark.parametrize("planted", ["planted", digest("planted"), "a" * 43])
def test_a_cookie_that_somebody_planted_is_never_the_one_that_is_believed(served: League, planted: str) -> None:
    browser = at(served)
    browser.cookies.set(PLAIN_COOKIE, planted)
    assert browser.get("/people").status_code == 303
    reply = tried(browser)
    given = re.match(rf"{PLAIN_COOKIE}=([^;]+);", reply.headers["set-cookie"])
    assert given is not None
    assert given[1] != planted
    other = at(served)
    other.cookies.set(PLAIN_COOKIE, planted)
    assert other.get("/people").status_code == 303


def test_signing_in_again_changes_the_cookie_and_ends_the_old_one(served: League) -> None:
    browser = served.browser("supervisor")
    old = str(browser.cookies[PLAIN_COOKIE])
    fields = {"email": MAIL, "password": PASSWORD, "form_token": browser.form_key}
    assert browser.post("/sign-in", data=fields).status_code == 303
    assert devices(served, "orla") != [digest(old)]
    with_old = at(served)
    with_old.cookies.set(PLAIN_COOKIE, old)
    assert with_old.get("/people").status_code == 303


@pytest.mark.parametrize(("is_https", "name"), [(False, PLAIN_COOKIE), (True, SECURE_COOKIE)])
def test_the_cookie_is_for_this_site_alone_and_no_script_reads_it(served: League, is_https: bool, name: str) -> None:
    served.app.state.is_https = is_https
    cookie = tried(at(served)).headers["set-cookie"]
    first, *flags = [part.strip().lower() for part in cookie.split(";")]
    assert first.startswith(f"{name.lower()}=")
    assert {"httponly", "samesite=lax", "path=/"} <= set(flags)
    assert ("secure" in flags) is is_https
    assert not any(flag.startswith("domain") for flag in flags)
    expires = next(flag for flag in flags if flag.startswith("expires="))
    days = (datetime.strptime(expires[8:], "%a, %d %b %Y %H:%M:%S gmt").replace(tzinfo=UTC) - datetime.now(UTC)).days
    assert 28 <= days <= 30


def test_going_out_forgets_the_device_on_both_sides(served: League) -> None:
    browser = served.browser("supervisor")
    token = str(browser.cookies[PLAIN_COOKIE])
    reply = browser.post(f"/me/devices/{digest(token)}/sign-out", data={"form_token": browser.form_key})
    assert reply.headers["location"] == "/sign-in"
    assert re.search(r"Max-Age=0|01 Jan 1970", reply.headers["set-cookie"])
    with_old = at(served)
    with_old.cookies.set(PLAIN_COOKIE, token)
    assert with_old.get("/people").status_code == 303


def test_an_official_who_joins_the_staff_comes_in_again_with_a_password(served: League) -> None:
    phone, desk = served.browser("official"), served.browser("supervisor")
    address = invited(served, "sil")
    assert phone.get("/due").status_code == 200
    fields = {"name": "Sil Marram", "role": "coordinator", "form_token": desk.form_key}
    assert desk.post("/people/sil", data=fields).status_code == 303
    assert phone.get("/people").headers["location"] == "/sign-in"
    assert at(served).get(address).status_code == 404
    renewed = desk.post("/people/sil/invite", data={"form_token": desk.form_key}).text
    link = re.search(r"/invite/[A-Za-z0-9_-]+", renewed)
    assert link is not None
    assert "Choose a password" in at(served).get(link[0]).text


def test_whoever_was_erased_is_nobody(served: League) -> None:
    phone = served.browser("official")

    def erase(session: Session) -> None:
        session.get_one(PersonRow, "sil").erased_at = datetime.now(UTC)

    assert phone.get("/due").status_code == 200
    served.database.change(erase)
    assert phone.get("/due").headers["location"] == "/sign-in"
    assert phone.get("/sign-in").status_code == 200
