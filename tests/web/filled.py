"""A league with something at every address: recordings, clips, quizzes half taken and taken, lessons, work, invites.

Whoever may take checks, but for the outsider, has one that is begun and one that is over, so that each has their own
and all others are strangers'.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlmodel import Session
from starlette.requests import Request

from app.actions.clearance_quiz import offer_clearance, publish_clearance
from app.actions.job import order_job
from app.actions.lesson import begin_lesson, keep_tape, publish_lesson
from app.actions.quiz import assign_crews
from app.actions.signin import invite_person
from app.domain.clearance import ClearancePolicy
from app.domain.clip import Clip
from app.domain.lesson import Lesson
from app.domain.people import Role
from app.domain.quiz import QuizPlan
from app.domain.recording import Recording
from app.store.content import clips_by_id, save_policy
from app.store.jobs import fail_job, take_job
from app.store.quizzes import Quiz, list_items
from app.store.recordings import add_recording
from app.store.sittings import list_looks
from app.store.tables import metadata
from app.web.auth import digest as sealed
from app.web.media import media_address
from app.web.viewer import Viewer
from tests.adapters.video import Film, filmed
from tests.plays import PLAN, RATE, REVIEW, add_plays, digest, publish
from tests.web.league import PEOPLE, League, league
from tests.web.serving import FORM, Served, Wire, serving
from tests.web.sitting import SHORT, ahead, sent, started, taken

PLAYS = 60
ROLES = {who: person.role for who, person in PEOPLE.items()} | {"chief": Role.CHIEF, "": Role.GUEST}
"""Name in tests -> role; a guest has no name."""
TEST, SECOND = "test", "second"
"""Labels of the two devices that everybody has."""
TAKERS = {"chief": "ferry", "official": "ferry", "other official": "harbour"}
"""Who takes checks -> the crew they sit in."""
INVITED = "A-secret-that-only-ines-knows"
CLIP_BYTES = bytes(range(256)) * 20


@dataclass(frozen=True)
class Own:
    """What somebody has of their own. `begun` and `over`: checks; `ahead`: the clip of a look that is still to come;
    `device`: their second one; `media`: the last part of the address of a picture, good on their first one; `review`: a
    check in review that is begun; `angle`: the clip of its open look.

    Whoever takes no checks has the official's in their place.
    """

    quiz: str
    begun: str
    over: str
    ahead: str
    review: str
    angle: str
    device: str = ""
    media: str = ""


@dataclass(frozen=True)
class Filled:
    """The filled league on its server. `own`: by the name that a person has in tests; `asked`: clips of those begun;
    `in_review`: of those in review.

    `clearance`: a check for clearance, which nobody has been given.
    """

    served: Served
    own: Mapping[str, Own]
    jobs: tuple[str, str]
    asked: Mapping[str, list[Clip]]
    in_review: Mapping[str, list[Clip]]
    clearance: str
    wires: list[Wire] = field(default_factory=list, repr=False)

    def wire(self, who: str, label: str = TEST) -> Wire:
        """A connection from a person's device; from a guest's without a name."""
        self.wires.append(Wire(self.served, f"{who}-{label}" if who else ""))
        return self.wires[-1]

    def ids(self, who: str, path: str) -> dict[str, str]:
        """Path parameter -> what a person would put there to get at their own things, or the league's."""
        own = self.own[who]
        return {
            "asset": own.angle if path.endswith("/{k}") else own.ahead,
            "clip_id": "play-0",
            "crew_id": "ferry",
            "device": own.device,
            "game_id": "g1",
            "k": "0",
            "job_id": self.jobs[1] if path.endswith("/retry") else self.jobs[0],
            "lesson_id": "two-instants",
            "n": "0",
            "person_id": "ines",
            "plan_id": PLAN.id,
            "policy_id": "offside",
            "quiz_id": self.clearance if path.endswith("/clearance") else own.quiz,
            "recording_id": "raw" if path.endswith("/remove") else "line",
            "secret": INVITED,
            "sitting_id": own.over if "/result" in path else own.review if "/reviews" in path else own.begun,
            "token": own.media,
            "upload_id": "nobody",
        }


@contextmanager
def filled(data: Path) -> Iterator[Filled]:
    """The filled league, served from this folder."""
    with league(data) as empty:
        _fill(empty)
        over = {who: _over(empty, who, quiz) for who, quiz in _quizzes(empty).items()}
        reviews = {who: _reviewing(empty, who, quiz) for who, quiz in _quizzes(empty, REVIEW).items()}
        checks = {who: _begun(empty, who, quiz, over[who], reviews[who]) for who, quiz in _quizzes(empty).items()}
        asked = {who: _asked(empty, own.quiz) for who, own in checks.items()}
        in_review = {who: _asked_in(empty, own.review) for who, own in checks.items()}
        for who in PEOPLE:
            empty.browser(who, TEST)
            empty.browser(who, SECOND)
        jobs, clearance = empty.database.change(_jobs), empty.database.change(_clearance)
    with serving(data) as served:
        own = {who: _own(served.league, who, checks.get(who, checks["official"])) for who in PEOPLE}
        made = Filled(served, {**own, "": own["official"]}, jobs, asked, in_review, clearance)
        yield made
        for wire in made.wires:
            wire.close()


def _fill(made: League) -> None:
    plays = made.database.change(add_plays, PLAYS)
    for path in (made.app.state.library.cut(digest(f"cut {each.id}")) for each in plays):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(CLIP_BYTES)
    picture = made.app.state.library.picture(digest("line"))
    picture.parent.mkdir(parents=True, exist_ok=True)
    picture.write_bytes(CLIP_BYTES)
    original = made.app.state.library.original(digest("original"))
    original.parent.mkdir(parents=True, exist_ok=True)
    filmed(original.with_suffix(".mp4"), Film(frames=2, rate="30")).rename(original)
    made.database.change(_lessons, datetime.now(UTC))
    made.database.change(_others, datetime.now(UTC))


def _quizzes(made: League, plan: QuizPlan = PLAN) -> dict[str, Quiz]:
    """Who takes checks -> a new quiz for their crew, of clips that none of them has looked at."""
    plans = {crew: plan.model_copy(update={"crews": (crew,)}) for crew in set(TAKERS.values())}
    quizzes = {crew: made.database.change(publish, plan, cut=SHORT) for crew, plan in plans.items()}
    return {who: quizzes[crew] for who, crew in TAKERS.items()}


def _lessons(session: Session, now: datetime) -> None:
    for name in ("two-instants", "draft"):
        steps = [{"kind": "title", "title": name}, {"kind": "title", "title": "The end"}]
        facts = {"id": name, "series": "Offside", "number": 1, "title": f"The lesson {name}", "steps": steps}
        begin_lesson(session, Lesson.model_validate(facts), "orla", now=now)
    session.flush()
    number = publish_lesson(session, "two-instants", "", "orla", now=now)
    session.flush()
    keep_tape(session, "two-instants", number, digest("tape"), 1800, [], now=now)
    assign_crews(session, "lesson", "two-instants", ["ferry"], now + timedelta(days=3), "orla", now=now)


def _others(session: Session, now: datetime) -> None:
    save_policy(session, ClearancePolicy(id="offside", title="Offside", topics=("offside",)))
    add_recording(session, Recording(id="raw", file="raw.mp4", angle="high", game="g1"), "orla", now)
    invite_person(session, "ines", sealed(INVITED), "orla", now + timedelta(days=9), now=now)


def _clearance(session: Session) -> str:
    now = datetime.now(UTC)
    offer = offer_clearance(session, "Offside", ["offside"], 5, [], RATE, now)
    return publish_clearance(session, offer, None, "orla", now=now).id


def _jobs(session: Session) -> tuple[str, str]:
    """A job that waits, and one that broke off."""
    now = datetime.now(UTC)
    waits, broke = (order_job(session, "tape", f"tape:{n}", {}, f"Work {n}", "orla", now=now) for n in (8, 9))
    session.flush()
    took = take_job(session, broke, "worker", timedelta(minutes=5), now)
    assert took is not None
    fail_job(session, took[1], "A frame is missing.", now, permanent=True)
    return waits, broke


def _over(made: League, who: str, quiz: Quiz) -> str:
    phone = made.browser(who)
    sitting = started(phone, quiz)
    taken(phone, sitting)
    return sitting


def _reviewing(made: League, who: str, quiz: Quiz) -> tuple[str, str]:
    """A review whose first look is open, so that the call is told and the clock runs; its sitting, and that clip."""
    phone = made.browser(who)
    sitting = started(phone, quiz)
    look = phone.get(f"/sittings/{sitting}/reviews").json()["look"]
    assert sent(phone, sitting, f"/reviews/{look['n']}/open", {}).status_code == 200
    return sitting, look["angles"][0]["clip"].removeprefix("/looks/").removesuffix("/0")


def _begun(made: League, who: str, quiz: Quiz, over: str, review: tuple[str, str]) -> Own:
    phone = made.browser(who)
    begun = started(phone, quiz)
    clip = ahead(phone, begun)["looks"][-1]["clip"]
    return Own(quiz.id, begun, over, clip.removeprefix("/looks/"), *review)


def _asked(made: League, quiz_id: str) -> list[Clip]:
    """The clips of a quiz, spares too."""
    with made.database.read() as session:
        return list(clips_by_id(session, [item.clip_id for item in list_items(session, quiz_id)]).values())


def _asked_in(made: League, sitting_id: str) -> list[Clip]:
    with made.database.read() as session:
        return list(clips_by_id(session, [look.clip_id for look in list_looks(session, sitting_id)]).values())


def _own(made: League, who: str, checks: Own) -> Own:
    device = sealed(f"{who}-{TEST}")
    viewer = Viewer(PEOPLE[who].id, "", Role.OFFICIAL, device=device)
    request = Request({"type": "http", "app": made.app, "state": {"viewer": viewer}, "headers": []})
    address = media_address(request, "picture", digest("line"))
    return replace(checks, device=sealed(f"{who}-{SECOND}"), media=address.removeprefix("/media/"))


# --------------------------------------------------------------------------------- what is sent, what is kept

SENT = {
    "/reviews/{n}/answer": b'{"nonce": "", "idempotency": "k", "outcome": "stands", "after": 0}',
    "/answer": b'{"nonce": "", "idempotency": "k", "decision": "flag", "load": 0, "play": 0, "decide": 0, '
    b'"hidden": false, "dropped": 0}',
    "/reason": b'{"shows": {"": "present"}}',
    "/open": b"{}",
    "/skip": b"{}",
    "/echo": b"{}",
    "/watched": b'{"first": 0, "end": 30}',
}
"""End of a path -> the JSON that it takes; all others take forms."""


TOLD_AS_JSON = {
    ("GET", "/healthz"),
    ("GET", "/sittings/{sitting_id}/ahead"),
    ("GET", "/sittings/{sitting_id}/reviews"),
    ("POST", "/sittings/{sitting_id}/reviews/{n}/open"),
    ("POST", "/sittings/{sitting_id}/reviews/{n}/answer"),
    ("POST", "/sittings/{sitting_id}/reviews/{n}/reason"),
    ("POST", "/sittings/{sitting_id}/echo"),
    ("POST", "/sittings/{sitting_id}/looks/{n}/open"),
    ("POST", "/sittings/{sitting_id}/looks/{n}/answer"),
    ("POST", "/sittings/{sitting_id}/looks/{n}/reason"),
    ("POST", "/sittings/{sitting_id}/looks/{n}/skip"),
    ("POST", "/sittings/{sitting_id}/finish"),
    ("POST", "/lessons/{lesson_id}/watched"),
}
"""All that officials and evaluators get as JSON. A page has its own test; JSON that is not here has none yet."""


def body_of(method: str, path: str) -> tuple[bytes | None, str]:
    """A body that gets as far as what it is about, and its type."""
    if method in ("GET", "HEAD", "OPTIONS"):
        return None, FORM
    told = next((body for end, body in SENT.items() if path.endswith(end)), None)
    return (b"text=I+do+not+agree", FORM) if told is None else (told, "application/json")


def everything(made: League) -> dict[str, list[str]]:
    """The whole content of the database, table by table."""
    with made.database.read() as session:
        rows = {table.name: session.connection().execute(table.select()) for table in metadata.sorted_tables}
        return {name: sorted(map(repr, found)) for name, found in rows.items()}
