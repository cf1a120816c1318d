"""A league in the middle of everything: an official has a check, a refresher and a practice under way.

Their chief has taken the same check to its end, and is in the midst of one for clearance. Two lessons are out: one
shows a play of the check, and names it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlmodel import Session, select

from app.actions.clearance_quiz import offer_clearance, publish_clearance
from app.actions.lesson import begin_lesson, keep_tape, publish_lesson
from app.actions.quiz import keep_cut
from app.domain.clearance import ClearancePolicy
from app.domain.clip import Clip
from app.domain.lesson import Lesson
from app.store.content import clips_by_id, save_policy
from app.store.quizzes import Quiz, list_items
from app.store.sittings import list_answers, list_looks
from app.store.tables import AnswerRow, SittingRow
from tests.plays import PLAN, RATE, add_plays, digest, publish
from tests.web.league import Browser, League, league
from tests.web.serving import Served, serving
from tests.web.sitting import SHORT, ahead, decision, opened, sent, started

PLAYS = 90
BYTES = bytes(range(256)) * 20
"""What stands for a clip, a still, a tape."""
SHOWS_IT, SHOWS_OTHERS = "shows-a-play-of-the-check", "shows-plays-that-were-told"


@dataclass(frozen=True)
class UnderWay:
    """The league on its server, with the ids of sittings: `chiefs` and `clearance` are the chief's.

    `quiz`: the check that both were given. `secret`: clips that somebody may still be asked about, of which they have
    been told nothing.
    """

    served: Served
    quiz: str
    check: str
    refresher: str
    practice: str
    ended: str
    chiefs: str
    clearance: str
    secret: Mapping[str, list[Clip]]

    @property
    def sittings(self) -> tuple[str, ...]:
        """All of them."""
        return self.check, self.refresher, self.practice, self.ended, self.chiefs, self.clearance


@contextmanager
def under_way(data: Path) -> Iterator[UnderWay]:
    """All of it, served from this folder."""
    with league(data) as made:
        _filled(made)
        phone, chief = made.browser("official"), made.browser("chief")
        ended = started(phone, _check(made, 24))
        taken_right(made, phone, ended)
        made.database.change(_long_ago)
        quiz = _check(made, 8)
        chiefs, check = started(chief, quiz), started(phone, quiz)
        taken_right(made, chief, chiefs)
        phone.post("/refreshers/offside/start", data={"form_token": phone.form_key})  # which orders its cuts
        made.database.change(_cut, "refresher-offside")
        refresher = _begun(phone, "/refreshers/offside/start")
        practice = _begun(phone, "/practice", topic="offside")
        clearance = started(chief, made.database.change(_clearance))
        asked, told = _asked(made, chiefs)[0], _asked(made, ended)[0]
        made.database.change(_lessons, asked, told)
        secret = {who: _secret(made, person) for who, person in (("official", "sil"), ("chief", "adaeze"))}
    with serving(data) as served:
        yield UnderWay(served, quiz.id, check, refresher, practice, ended, chiefs, clearance, secret)


def _filled(made: League) -> None:
    plays = made.database.change(add_plays, PLAYS)
    made.database.change(save_policy, ClearancePolicy(id="offside", title="Offside", topics=("offside",)))
    library = made.app.state.library
    kept = [library.cut(digest(f"cut {each.id}")) for each in plays]
    for path in (*kept, library.tape(digest("tape")), library.picture(digest("line"))):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(BYTES)


def _check(made: League, clips: int) -> Quiz:
    plan = PLAN.model_copy(update={"clips": clips})
    quiz: Quiz = made.database.change(publish, plan, cut=SHORT, now=datetime.now(UTC))
    return quiz


def taken_right(made: League, phone: Browser, sitting: str) -> None:
    """Every look of a check called right, to the end."""
    with made.database.read() as session:
        sides = {look.n: look.side.value for look in list_looks(session, sitting)}
    while looks := ahead(phone, sitting)["looks"]:
        n = looks[0]["n"]
        why = sent(phone, sitting, f"/looks/{n}/answer", decision(opened(phone, sitting, n), sides[n])).json()["why"]
        unseen = {point["id"]: "can't tell" for point in why["points"]} if why["whole"] else {"": "can't tell"}
        assert sent(phone, sitting, f"/looks/{n}/reason", {"shows": unseen}).status_code == 200
    assert sent(phone, sitting, "/finish", {}).status_code == 200


def _long_ago(session: Session) -> None:
    """What was answered so far was answered before a clearance fades."""
    for answer in session.exec(select(AnswerRow)):
        answer.received_at -= timedelta(days=150)
    for sitting in session.exec(select(SittingRow)):
        sitting.began_at -= timedelta(days=150)
        sitting.ended_at = sitting.ended_at and sitting.ended_at - timedelta(days=150)


def _clearance(session: Session) -> Quiz:
    now = datetime.now(UTC)
    offer = offer_clearance(session, "All", ["offside"], 5, ["ferry"], RATE, now)
    quiz = publish_clearance(session, offer, None, "orla", now=now)
    session.flush()
    _cut(session, quiz.id)
    return quiz


def _cut(session: Session, quiz_id: str) -> None:
    """As if the clips of a quiz had been cut for phones."""
    for item in list_items(session, quiz_id):
        keep_cut(session, quiz_id, item.n, digest(f"cut {item.clip_id}"), SHORT, now=datetime.now(UTC))


def _begun(phone: Browser, where: str, **typed: str) -> str:
    reply = phone.post(where, data={"form_token": phone.form_key, **typed})
    return reply.headers["location"].removeprefix("/sittings/")


def _asked(made: League, sitting: str) -> list[Clip]:
    with made.database.read() as session:
        return list(clips_by_id(session, [look.clip_id for look in list_looks(session, sitting)]).values())


def _secret(made: League, person: str) -> list[Clip]:
    """What may still be asked: every play is in the check for clearance."""
    with made.database.read() as session:
        told = {each.clip_id for each in list_answers(session, person_id=person)}
        clips = clips_by_id(session, [f"play-{n}" for n in range(PLAYS)])
    return [clip for name, clip in clips.items() if name not in told]


def _lessons(session: Session, asked: Clip, told: Clip) -> None:
    now = datetime.now(UTC)
    for name, clip in ((SHOWS_IT, asked), (SHOWS_OTHERS, told)):
        steps = [{"kind": "run", "clip": clip.id, "from": 40, "to": 70}]
        facts = {"id": name, "series": "Offside", "number": 1, "title": "A lesson", "steps": steps}
        begin_lesson(session, Lesson.model_validate(facts), "orla", now=now)
        session.flush()
        number = publish_lesson(session, name, "", "orla", now=now)
        session.flush()
        keep_tape(session, name, number, digest("tape"), 30, [(0, clip.title)], now=now)
