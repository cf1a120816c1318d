"""A small league on a running application, and a browser for each of its people.

Supervisor Orla, coordinator Piet, evaluator Runa; crew Ferry (first season) with its chief Adaeze and official Sil;
crew Harbour with official Bram; and an outsider, who has an account but belongs nowhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from fastapi import FastAPI
from sqlmodel import Session
from starlette.testclient import TestClient

from app.domain.people import Position, Role
from app.main import create_app
from app.settings import Settings
from app.store.content import save_positions
from app.store.devices import Device, add_device, seen_device
from app.store.engine import Database
from app.store.migrate import migrate
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person, set_chief
from app.web.auth import PLAIN_COOKIE, digest, form_token

ADDRESS = "http://127.0.0.1:8430"
BEGAN = datetime(2026, 9, 1, 18, 0, tzinfo=UTC)

PEOPLE = {
    "supervisor": Person("orla", "Orla Tamsin", Role.SUPERVISOR, "orla@example.org"),
    "coordinator": Person("piet", "Piet Sand", Role.COORDINATOR, "piet@example.org"),
    "evaluator": Person("runa", "Runa Weir", Role.EVALUATOR, "runa@example.org"),
    "chief": Person("adaeze", "Adaeze Kole", Role.OFFICIAL),
    "official": Person("sil", "Sil Marram", Role.OFFICIAL),
    "other official": Person("bram", "Bram Hale", Role.OFFICIAL),
    "outsider": Person("ines", "Ines Farrow", Role.OFFICIAL),
}
"""Name in tests -> the person. The chief leads Ferry; the other official sits in Harbour."""

SEATS = (("adaeze", "ferry", "referee"), ("sil", "ferry", "assistant"), ("bram", "harbour", "assistant"))
POSITIONS = (Position(id="referee", title="Referee"), Position(id="assistant", title="Assistant"))


@dataclass(frozen=True)
class League:
    """A running application with its people."""

    app: FastAPI
    data: Path

    @property
    def database(self) -> Database:
        """Its database."""
        found: Database = self.app.state.database
        return found

    def browser(self, who: str = "", label: str = "test") -> Browser:
        """A browser of a person, signed in; of a guest without a name. `label` tells a second device of the same."""
        if not who:
            return Browser(self.app, "")
        token = f"{who}-{label}"
        self.database.change(_remember, digest(token), PEOPLE[who].id, label)
        return Browser(self.app, token)


class Browser(TestClient):
    """A client that sends what a browser sends: the cookie, the form's key, what it accepts."""

    def __init__(self, app: FastAPI, token: str) -> None:
        super().__init__(app, base_url=ADDRESS, follow_redirects=False, headers={"accept": "text/html"})
        self.form_key = ""
        if token:
            self.cookies.set(PLAIN_COOKIE, token)
            self.form_key = form_token(app.state.secret, digest(token))


def _remember(session: Session, token: str, person_id: str, label: str) -> None:
    now = datetime.now(UTC)
    if seen_device(session, token, now) is None:
        add_device(session, Device(token, person_id, label, now, now, now + timedelta(days=30)))


def settings_for(data: Path, *, worker: bool = False) -> Settings:
    """Settings of a server on this folder, as its people reach it."""
    found = Settings.from_env({"PENNON_DATA": str(data), "PENNON_URL": ADDRESS, "HOME": str(data)})
    return replace(found, worker=worker)


@contextmanager
def league(data: Path, *, worker: bool = False, database_url: str = "") -> Iterator[League]:
    """A running application with the people above; with `worker`, long work is done too.

    `database_url`: a database with empty tables; without one a new file in the data folder.
    """
    settings = settings_for(data, worker=worker)
    if database_url:
        settings = replace(settings, database_url=database_url)
    else:
        (data / "league.db").write_bytes(_empty())
    app = create_app(settings)
    with TestClient(app, base_url=ADDRESS):
        made = League(app, data)
        made.database.change(_people)
        yield made


@cache
def _empty() -> bytes:
    """A migrated database, made once: migrating takes longer than most tests."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "league.db"
        migrate(f"sqlite:///{path}")
        return path.read_bytes()


def _people(session: Session) -> None:
    save_positions(session, POSITIONS)
    for person in PEOPLE.values():
        add_person(session, person, BEGAN)
    session.flush()
    for crew in (CrewFacts("ferry", "Ferry", True, None), CrewFacts("harbour", "Harbour", False, None)):
        add_crew(session, crew)
    session.flush()
    set_chief(session, "ferry", "adaeze")
    for person_id, crew_id, position in SEATS:
        add_membership(session, person_id, crew_id, position, date(2026, 8, 1))
