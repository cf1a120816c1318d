"""A check as a phone takes it: every request by its own person, once, in order, and nothing that tells the answer."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.actions.lesson import begin_lesson, keep_tape, publish_lesson
from app.actions.quiz import assign_crews
from app.domain.lesson import Lesson
from app.store.quizzes import Quiz, list_items
from app.store.sittings import list_answers, list_looks, list_reasons, load_sitting
from app.web.looking import Terms, measured, nonce_of, round_trip
from tests.plays import LINE, PLAN, PLAYED, RESTART, THEN, add_plays, digest, publish
from tests.web.league import Browser, League, league
from tests.web.sitting import SHORT, ahead, decision, opened, sent, started, taken

CLIP_BYTES = bytes(range(256)) * 20
OTHERS = ("chief", "other official", "outsider")


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        for each in made.database.change(add_plays):
            path = made.app.state.library.cut(digest(f"cut {each.id}"))
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(CLIP_BYTES)
        yield made


@pytest.fixture
def quiz(served: League) -> Quiz:
    made: Quiz = served.database.change(publish, cut=SHORT)
    return made


@pytest.fixture
def phone(served: League) -> Browser:
    return served.browser("official")


@pytest.fixture
def sitting(phone: Browser, quiz: Quiz) -> str:
    return started(phone, quiz)


def verdicts(served: League, sitting: str) -> list[tuple[str | None, str]]:
    with served.database.read() as session:
        return [(each.decision, each.verdict) for each in list_answers(session, sitting_id=sitting)]


# ------------------------------------------------------------------------------------------- what is due


def test_without_anything_due_the_page_says_what_goes_here(phone: Browser) -> None:
    page = phone.get("/due").text
    assert "<h1>Nothing is due.</h1>" in page
    assert "it stands here" in page


def test_what_is_due_stands_in_order_with_one_button(served: League, phone: Browser) -> None:
    now = datetime.now(UTC)
    late = served.database.change(publish, cut=SHORT, due=now - timedelta(days=2))
    served.database.change(_lesson, now)
    served.database.change(publish, cut=0)
    page = phone.get("/due").text
    assert "<h1>Three things are due.</h1>" in page
    in_order = ["Was due", f'href="/checks/{late.id}"', "Two instants", "Lesson 1, 1:00", "being prepared"]
    places = [page.index(words) for words in in_order]
    assert sorted(places) == places
    assert page.count('class="go"') == 1
    other = served.browser("other official").get("/due").text
    assert "<h1>Nothing is due.</h1>" in other


def _lesson(session: Session, now: datetime) -> None:
    step = {"kind": "title", "title": "Two instants"}
    lesson = Lesson.model_validate(
        {"id": "two-instants", "series": "Offside", "number": 1, "title": "Two instants", "steps": [step]}
    )
    begin_lesson(session, lesson, "orla", now=now)
    session.flush()
    number = publish_lesson(session, "two-instants", "", "orla", now=now)
    session.flush()
    keep_tape(session, "two-instants", number, digest("tape"), 1800, [], now=now)
    assign_crews(session, "lesson", "two-instants", ["ferry"], now + timedelta(days=3), "orla", now=now)


def test_the_door_says_what_will_happen_and_leads_in(phone: Browser, quiz: Quiz) -> None:
    page = phone.get(f"/checks/{quiz.id}").text
    assert "Four looks, about two minutes" in page
    assert "once, at full speed" in page
    assert "five seconds" in page
    sitting = started(phone, quiz)
    assert "Go on where you were" in phone.get(f"/checks/{quiz.id}").text
    assert started(phone, quiz) == sitting
    assert f'data-at="/sittings/{sitting}"' in phone.get(f"/sittings/{sitting}").text


def test_a_check_whose_clips_are_not_cut_cannot_be_started(served: League, phone: Browser) -> None:
    quiz = served.database.change(publish, cut=0)
    page = phone.get(f"/checks/{quiz.id}").text
    assert "still being prepared" in page
    assert "Start the check" not in page
    assert phone.post(f"/checks/{quiz.id}/start", data={"form_token": phone.form_key}).status_code == 409


# ------------------------------------------------------------------------------------------- one look after another


def test_a_check_goes_from_look_to_look_to_its_result(served: League, phone: Browser, quiz: Quiz, sitting: str) -> None:
    assert ahead(phone, sitting)["total"] == 4
    assert [look["number"] for look in ahead(phone, sitting)["looks"]] == [1, 2, 3, 4]
    assert sent(phone, sitting, "/finish", {}).status_code == 409
    taken(phone, sitting)
    assert ahead(phone, sitting) == {"total": 4, "deadline": 5000, "looks": [], "unexplained": None}
    assert verdicts(served, sitting) == [("flag", "OK")] * 4
    assert phone.get(f"/sittings/{sitting}").headers["location"] == f"/sittings/{sitting}/result"
    assert phone.get(f"/checks/{quiz.id}").headers["location"] == f"/sittings/{sitting}/result"
    assert "<h1>2 of 4 right.</h1>" in phone.get(f"/sittings/{sitting}/result").text


def test_five_clips_at_most_are_told_ahead(served: League, phone: Browser) -> None:
    quiz = served.database.change(publish, PLAN.model_copy(update={"clips": 8}), cut=SHORT)
    found = ahead(phone, started(phone, quiz))
    assert (found["total"], len(found["looks"])) == (8, 5)


def test_nothing_before_the_end_tells_the_answer(served: League, phone: Browser, quiz: Quiz, sitting: str) -> None:
    with served.database.read() as session:
        asked = list_looks(session, sitting)
        items = list_items(session, quiz.id)
    secret = [digest(f"cut {item.clip_id}") for item in items] + [item.clip_id for item in items]
    said = [phone.get(where).text for where in ("/due", f"/checks/{quiz.id}", f"/sittings/{sitting}")]
    for look in asked:
        said.append(json.dumps(ahead(phone, sitting)))
        opening = sent(phone, sitting, f"/looks/{look.n}/open", {})
        answer = decision(opening.json()["nonce"], "no flag")
        reply = sent(phone, sitting, f"/looks/{look.n}/answer", answer)
        said += [opening.text, reply.text]
        said.append(sent(phone, sitting, f"/looks/{look.n}/reason", {"shows": {"": "present"}}).text)
    text = " ".join(said)
    assert [word for word in (*secret, "Secret title", "Freeze the contact of") if word in text] == []
    assert not re.search(r'"(side|ruling|is_spare|cut)"', text)


def test_the_question_is_the_same_after_either_decision(phone: Browser, sitting: str) -> None:
    seen: dict[bool, list[list[str]]] = {True: [], False: []}
    for k, look in enumerate(ahead(phone, sitting)["looks"]):
        what = decision(opened(phone, sitting, look["n"]), "flag" if k % 2 else "no flag")
        why = sent(phone, sitting, f"/looks/{look['n']}/answer", what).json()["why"]
        seen[why["whole"]].append([point["id"] for point in why["points"]])
        assert (why["second"] is not None) is (k % 2 == 1)
        if not why["whole"]:
            sent(phone, sitting, f"/looks/{look['n']}/reason", {"shows": {"": "present"}})
    points = [LINE, THEN, PLAYED, RESTART]
    assert all(ids == points for ids in seen[True])
    assert all(ids == [*points, "arms"] for ids in seen[False])
    assert seen[True]
    assert seen[False]


def test_a_second_answer_is_kept_with_the_reason(served: League, phone: Browser, sitting: str) -> None:
    look = ahead(phone, sitting)["looks"][0]
    why = sent(phone, sitting, f"/looks/{look['n']}/answer", decision(opened(phone, sitting, look["n"]))).json()["why"]
    assert why["second"] == {"question": "Whose restart?", "answers": ["to the attack", "to the defence"]}
    shows = {LINE: "absent"} if not why["whole"] else {LINE: "absent", THEN: "can't tell"}
    path = f"/looks/{look['n']}/reason"
    assert sent(phone, sitting, path, {"shows": shows, "second": "nobody's"}).status_code == 422
    said = {"shows": shows, "second": "to the attack", "idempotency": "why"}
    assert sent(phone, sitting, path, said).json() == {"kept": True, "idempotency": "why"}
    with served.database.read() as session:
        assert list_reasons(session, sitting)[look["n"]].second_answer == "to the attack"


def test_after_a_reload_the_look_is_not_shown_again_but_may_be_called(
    served: League, phone: Browser, sitting: str
) -> None:
    first = ahead(phone, sitting)["looks"][0]
    nonce = opened(phone, sitting, first["n"])
    again = ahead(phone, sitting)["looks"][0]
    assert (again["n"], again["clip"]) == (first["n"], "")
    assert phone.get(first["clip"]).status_code == 404
    reply = sent(phone, sitting, f"/looks/{first['n']}/open", {}).json()
    assert (reply["opened"], reply["nonce"]) == (False, nonce)
    assert 0 < reply["left"] <= 5000
    sent(phone, sitting, f"/looks/{first['n']}/answer", decision(nonce, reopened=True))
    assert verdicts(served, sitting) == [("flag", "OK")]


def test_what_a_phone_could_not_play_is_replaced(phone: Browser, sitting: str) -> None:
    look = ahead(phone, sitting)["looks"][0]
    reply = sent(phone, sitting, f"/looks/{look['n']}/answer", decision(opened(phone, sitting, look["n"]), dropped=0.9))
    told = {"idempotency": "a-key", "counts": False, "in_time": False, "cause": "slow", "why": None}
    assert reply.json() == told
    found = ahead(phone, sitting)
    assert (found["total"], [each["n"] for each in found["looks"]]) == (4, [1, 2, 3, 4])
    assert [each["number"] for each in found["looks"]] == [1, 2, 3, 4]


# ------------------------------------------------------------------------------------------- once, and by whom


def test_the_same_answer_again_changes_nothing_and_another_is_refused(
    served: League, phone: Browser, sitting: str
) -> None:
    nonce = opened(phone, sitting, 0)
    path = "/looks/0/answer"
    first = sent(phone, sitting, path, decision(nonce))
    assert sent(phone, sitting, path, decision(nonce)).json() == first.json()
    assert sent(phone, sitting, path, decision(nonce, "no flag")).json()["counts"]
    assert sent(phone, sitting, path, decision(nonce, "no flag", idempotency="another")).status_code == 409
    assert verdicts(served, sitting) == [("flag", "OK")]


@pytest.mark.parametrize(
    "changes",
    [
        {"nonce": "forged"},
        {"nonce": ""},
        {"nonce": "a.b"},
        {"decision": "maybe"},
        {"load": 2**63},
        {"play": -(2**70)},
        {"dropped": 7.0},
        {"dropped": "NaN"},
        {"idempotency": "x" * 300},
        {"verdict": "OK"},
        {"hidden": None},
        {"nonce": "x" * 100_000},
    ],
)
def test_a_forged_answer_changes_nothing(served: League, phone: Browser, sitting: str, changes: dict[str, Any]) -> None:
    body = decision(opened(phone, sitting, 0)) | changes
    assert sent(phone, sitting, "/looks/0/answer", body).status_code in (409, 422)
    assert verdicts(served, sitting) == []


def test_a_nonce_opens_its_own_look_only(served: League, phone: Browser, sitting: str) -> None:
    nonce = opened(phone, sitting, 0)
    opened(phone, sitting, 1)
    assert sent(phone, sitting, "/looks/1/answer", decision(nonce)).status_code == 409
    longer = nonce_of(served.app.state.secret, sitting, 0, Terms(99_000, 99_000, 500))
    assert sent(phone, sitting, "/looks/0/answer", decision(longer)).status_code == 409
    assert verdicts(served, sitting) == []


@pytest.mark.parametrize("shows", [{"nobody-asked": "present"}, {}, {"": "present", LINE: "absent"}, {LINE: "maybe"}])
def test_a_reason_that_nobody_asked_for_is_refused(
    served: League, phone: Browser, sitting: str, shows: dict[str, str]
) -> None:
    with served.database.read() as session:
        n = next(look.n for look in list_looks(session, sitting) if not look.asks_all)
    sent(phone, sitting, f"/looks/{n}/answer", decision(opened(phone, sitting, n)))
    assert sent(phone, sitting, f"/looks/{n}/reason", {"shows": shows}).status_code in (400, 422)
    with served.database.read() as session:
        assert list_reasons(session, sitting) == {}


@pytest.mark.parametrize("who", OTHERS)
def test_somebody_elses_check_is_not_there(served: League, phone: Browser, sitting: str, quiz: Quiz, who: str) -> None:
    look, nonce, other = ahead(phone, sitting)["looks"][1], opened(phone, sitting, 0), served.browser(who)
    for where in ("", "/ahead", "/result", "/result/0", "/result/0/disagree"):
        assert other.get(f"/sittings/{sitting}{where}").status_code == 404
    assert other.get(look["clip"]).status_code == 404
    for path, body in (
        ("/looks/1/open", {}),
        ("/looks/0/answer", decision(nonce)),
        ("/looks/0/reason", {"shows": {"": "present"}}),
        ("/finish", {}),
    ):
        assert sent(other, sitting, path, body).status_code == 404
    assert verdicts(served, sitting) == []
    if who != "chief":  # the chief sits in the same crew and has the check to take as well
        assert other.get(f"/checks/{quiz.id}").status_code == 404
        assert other.post(f"/checks/{quiz.id}/start", data={"form_token": other.form_key}).status_code == 404


@pytest.mark.parametrize("who", ["supervisor", "coordinator", "evaluator"])
def test_the_staff_takes_no_checks(served: League, sitting: str, quiz: Quiz, who: str) -> None:
    other = served.browser(who)
    for where in ("/due", f"/checks/{quiz.id}", f"/sittings/{sitting}", f"/sittings/{sitting}/ahead", "/results"):
        assert other.get(where).status_code == 403
    assert sent(other, sitting, "/looks/0/open", {}).status_code == 403


def test_without_the_forms_key_nothing_is_changed(served: League, phone: Browser, sitting: str) -> None:
    nonce = opened(phone, sitting, 0)
    for headers in ({}, {"x-form-token": served.browser("chief").form_key}):
        reply = phone.post(f"/sittings/{sitting}/looks/0/answer", json=decision(nonce), headers=headers)
        assert reply.status_code == 403
    assert verdicts(served, sitting) == []


@pytest.mark.parametrize("name", ["x", "a" * 300, "%00", "%2e%2e", "9" * 60, "é"])
def test_odd_names_are_not_found(phone: Browser, sitting: str, name: str) -> None:
    for where in (f"/checks/{name}", f"/sittings/{name}", f"/sittings/{name}/ahead", f"/looks/{name}"):
        assert phone.get(where).status_code == 404
    for n in ("99", "-1", "1000000000000000000000", "x"):
        assert sent(phone, sitting, f"/looks/{n}/open", {}).status_code in (404, 422)
        assert phone.get(f"/sittings/{sitting}/result/{n}").status_code in (303, 404, 422)


# ------------------------------------------------------------------------------------------- clips


def test_a_clip_comes_whole_or_in_parts_and_nobody_keeps_it(phone: Browser, sitting: str) -> None:
    where = ahead(phone, sitting)["looks"][0]["clip"]
    reply = phone.get(where)
    assert (reply.status_code, reply.content) == (200, CLIP_BYTES)
    assert reply.headers["cache-control"] == "private, no-store"
    assert reply.headers["content-type"] == "video/mp4"
    assert "content-disposition" not in reply.headers
    part = phone.get(where, headers={"range": "bytes=10-19"})
    assert (part.status_code, part.content) == (206, CLIP_BYTES[10:20])


def test_the_addresses_of_two_officials_have_nothing_in_common(served: League, phone: Browser, quiz: Quiz) -> None:
    chief = served.browser("chief")
    mine = {look["clip"] for look in ahead(phone, started(phone, quiz))["looks"]}
    theirs = {look["clip"] for look in ahead(chief, started(chief, quiz))["looks"]}
    assert len(mine | theirs) == 8


# ------------------------------------------------------------------------------------------- the server's clock


def test_the_round_trip_is_measured_by_the_servers_clock(phone: Browser, sitting: str) -> None:
    stamp = sent(phone, sitting, "/echo", {}).json()["stamp"]
    time.sleep(0.03)
    later = sent(phone, sitting, "/echo", {"stamp": stamp}).json()["stamp"]
    at = datetime.now(UTC)
    secret = phone.app.state.secret  # type: ignore[attr-defined]
    assert 30 <= measured(secret, sitting, "sil", later) <= 500
    assert measured(secret, sitting, "sil", stamp) == 0
    assert round_trip(secret, sitting, "sil", later, at + timedelta(hours=1)) == measured(secret, sitting, "sil", later)


def test_a_sitting_ends_once(served: League, phone: Browser, sitting: str) -> None:
    taken(phone, sitting)
    with served.database.read() as session:
        ended = load_sitting(session, sitting).ended_at
    assert sent(phone, sitting, "/finish", {}).status_code == 200
    with served.database.read() as session:
        assert load_sitting(session, sitting).ended_at == ended
