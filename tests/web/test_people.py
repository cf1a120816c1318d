"""People and crews on a running server: who sees what, who moves where, how they come in, lists from elsewhere."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from httpx2 import Response
from sqlmodel import Session

from app.actions.people import first_invite
from app.domain.people import Role
from app.store.accounts import accounts
from app.store.content import save_positions
from app.store.crews import Membership, list_memberships, load_crew
from app.store.engine import Database
from app.store.people import Person, add_person, list_crews, list_people, list_seats, load_person
from tests.web.league import PEOPLE, POSITIONS, Browser, League, league

PAGES = ("/people", "/people/sil", "/people/crews/ferry")
FORMS = ("/people/new", "/people/import", "/people/crews/new")
LIST = """Name;Crew;Position;E-mail;Role
Adaeze Kole;Ferry;Referee;;
Tomas Berrin;Ferry;Assistant;;official
Noor Adami;Saltpan;referee;;chief
Kalle Oster;Ferry;Goalkeeper;;
Hanne Brook;;;hanne@example.org;coordinator
Tomas Berrin;Ferry;Assistant;;
"""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        yield made


@pytest.fixture
def supervisor(served: League) -> Browser:
    return served.browser("supervisor")


def post(browser: Browser, path: str, **typed: str) -> Response:
    return browser.post(path, data={"form_token": browser.form_key, **typed})


def found(served: League, name: str) -> Person:
    with served.database.read() as session:
        (person,) = [each for each in list_people(session) if each.name == name]
    return person


def history(served: League, person_id: str) -> list[Membership]:
    with served.database.read() as session:
        return list_memberships(session, person_id)


def today() -> date:
    return datetime.now(UTC).date()


# --------------------------------------------------------------------------------- who may


@pytest.mark.parametrize("who", ["evaluator", "chief", "official", "other official", "outsider"])
def test_nobody_but_the_staff_sees_these_pages(served: League, who: str) -> None:
    browser = served.browser(who)
    assert {browser.get(path).status_code for path in (*PAGES, *FORMS)} == {403}
    assert {post(browser, path).status_code for path in ("/people", "/people/sil", "/people/sil/invite")} == {403}


def test_the_coordinator_reads_and_changes_nothing(served: League) -> None:
    browser = served.browser("coordinator")
    assert {browser.get(path).status_code for path in PAGES} == {200}
    assert {browser.get(path).status_code for path in FORMS} == {403}
    assert all("<form" not in browser.get(path).text for path in PAGES)
    assert post(browser, "/people/sil", name="Another", role="official").status_code == 403
    assert post(browser, "/people/sil/move", crew="harbour", position="assistant").status_code == 403
    assert found(served, "Sil Marram").id == "sil"


@pytest.mark.parametrize("name", ["nobody", "%00", "a" * 300, "..%2f..", "9" * 40, "a'--", "%F0%9F%8E%A5"])
def test_whoever_is_not_here_is_not_found(supervisor: Browser, name: str) -> None:
    assert supervisor.get(f"/people/{name}").status_code == 404
    assert supervisor.get(f"/people/crews/{name}").status_code == 404
    for path in (f"/people/{name}", f"/people/{name}/move", f"/people/{name}/invite", f"/people/{name}/sign-out"):
        assert post(supervisor, path, name="Some One").status_code == 404
    assert post(supervisor, f"/people/crews/{name}", title="Some crew").status_code == 404


# --------------------------------------------------------------------------------- people and crews


def test_the_list_shows_crews_with_their_chief_first_and_whoever_sits_nowhere(supervisor: Browser) -> None:
    page = supervisor.get("/people").text
    assert "Seven people in two crews." in page
    assert page.index("Adaeze Kole") < page.index("Sil Marram") < page.index("Bram Hale")
    assert "Referee, <strong>chief</strong>" in page
    assert page.index("Without a crew") < page.index("Ines Farrow") < page.index("Staff") < page.index("Piet Sand")


def test_a_new_official_sits_where_they_were_put(served: League, supervisor: Browser) -> None:
    reply = post(supervisor, "/people", name="  Tomas Berrin ", role="official", crew="harbour", position="referee")
    person = found(served, "Tomas Berrin")
    assert (reply.status_code, reply.headers["location"]) == (303, f"/people/{person.id}")
    assert history(served, person.id) == [Membership("harbour", "referee", today(), None)]
    assert "Referee in Harbour" in supervisor.get(f"/people/{person.id}").text


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"name": ""}, "This is needed."),
        ({"name": "x" * 121}, "This is too long; 120 characters at most."),
        ({"email": "no address"}, "This is no mail address."),
        ({"email": "ORLA@example.org"}, "Orla Tamsin has this address already."),
        ({"role": "guest"}, "Choose one of those offered."),
        ({"role": "crew chief"}, "Choose one of those offered."),
        ({"role": "evaluator", "crew": "ferry", "position": "referee"}, "A crew is made of officials"),
        ({"crew": "ferry"}, "Say at which position."),
        ({"crew": "unknown", "position": "referee"}, "That crew is not here."),
    ],
)
def test_a_mistake_is_told_at_its_field_and_nobody_is_added(
    served: League, supervisor: Browser, typed: dict[str, str], sentence: str
) -> None:
    reply = post(supervisor, "/people", **{"name": "Ada <Quill>", "role": "official", **typed})
    assert reply.status_code == 422
    assert sentence in html.unescape(reply.text)
    assert typed.get("name", "Ada <Quill>") in html.unescape(reply.text)
    with served.database.read() as session:
        assert len(list_people(session)) == len(PEOPLE)


def test_moving_keeps_what_was_before_and_a_chief_who_goes_leads_no_more(served: League, supervisor: Browser) -> None:
    post(supervisor, "/people/adaeze/move", crew="harbour", position="assistant")
    assert history(served, "adaeze") == [
        Membership("harbour", "assistant", today(), None),
        Membership("ferry", "referee", date(2026, 8, 1), today()),
    ]
    with served.database.read() as session:
        assert load_crew(session, "ferry").chief_id is None
        assert {seat.person.id for seat in list_seats(session, today(), "harbour")} == {"adaeze", "bram"}
    page = supervisor.get("/people/adaeze").text
    assert "Ferry, Referee" in page
    assert "Harbour, Assistant" in page


def test_moving_to_where_one_sits_changes_nothing_but_who_leads(served: League, supervisor: Browser) -> None:
    before = history(served, "sil")
    post(supervisor, "/people/sil/move", crew="ferry", position="assistant", leads="yes")
    assert history(served, "sil") == before
    with served.database.read() as session:
        assert load_crew(session, "ferry").chief_id == "sil"
    post(supervisor, "/people/sil/move", crew="ferry", position="assistant")
    with served.database.read() as session:
        assert load_crew(session, "ferry").chief_id is None


def test_moved_twice_in_a_day_one_was_never_in_the_crew_between(served: League, supervisor: Browser) -> None:
    post(supervisor, "/people/sil/move", crew="harbour", position="assistant")
    post(supervisor, "/people/sil/move", crew="", position="")
    assert history(served, "sil") == [Membership("ferry", "assistant", date(2026, 8, 1), today())]


def test_details_are_kept_and_shown_again(served: League, supervisor: Browser) -> None:
    said = {"name": "Sil Marram", "role": "official", "away_until": "2031-02-03", "is_young": "yes"}
    assert post(supervisor, "/people/sil", **said, consent="Mother, 1 Sept").status_code == 303
    person = found(served, "Sil Marram")
    assert (person.away_until, person.is_young, person.consent) == (date(2031, 2, 3), True, "Mother, 1 Sept")
    assert "Sil Marram is away" in supervisor.get("/people/sil").text
    assert "away until 3 Feb" in supervisor.get("/people").text


def test_the_only_supervisor_stays_one(served: League, supervisor: Browser) -> None:
    reply = post(supervisor, "/people/orla", name="Orla Tamsin", role="coordinator", email="orla@example.org")
    assert reply.status_code == 422
    assert "Nobody else is a supervisor." in reply.text
    assert found(served, "Orla Tamsin").role is Role.SUPERVISOR


def test_an_official_who_joins_the_staff_leaves_the_crew(served: League, supervisor: Browser) -> None:
    post(supervisor, "/people/sil", name="Sil Marram", role="evaluator", email="sil@example.org")
    assert history(served, "sil")[0].until == today()
    assert "Without it they cannot sign in" not in supervisor.get("/people/sil").text


def test_a_crew_is_begun_renamed_and_given_a_chief(served: League, supervisor: Browser) -> None:
    place = post(supervisor, "/people/crews", title="Salt & Pan", first_season="yes").headers["location"]
    post(supervisor, "/people/sil/move", crew=place.rsplit("/", 1)[1], position="referee")
    assert post(supervisor, place, title="Saltpan", chief="sil").status_code == 303
    with served.database.read() as session:
        (crew,) = [each for each in list_crews(session) if each.title == "Saltpan"]
    assert (crew.chief_id, crew.first_season) == ("sil", False)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"title": "harbour"}, "There is a crew of this name already."),
        ({"title": ""}, "This is needed."),
        ({"title": "Ferry", "chief": "bram"}, "Only a member can lead the crew."),
    ],
)
def test_what_a_crew_cannot_be_is_told(supervisor: Browser, typed: dict[str, str], sentence: str) -> None:
    reply = post(supervisor, "/people/crews/ferry", **typed)
    assert reply.status_code == 422
    assert sentence in reply.text


# --------------------------------------------------------------------------------- coming in


def link_in(page: str) -> str:
    (address,) = re.findall(r'value="[^"]*(/invite/[A-Za-z0-9_-]+)"', page)
    return str(address)


def test_a_link_is_shown_once_with_its_code_and_lets_one_person_in(served: League, supervisor: Browser) -> None:
    reply = post(supervisor, "/people/ines/invite")
    assert reply.status_code == 200
    assert reply.headers["cache-control"] == "no-store"
    assert '<svg class="code"' in reply.text
    address = link_in(reply.text)
    assert "/invite/" not in supervisor.get("/people/ines").text
    phone = served.browser()
    assert "Welcome, Ines Farrow." in phone.get(address).text
    assert post(phone, address).status_code == 303
    assert served.browser().get(address).status_code == 404
    assert "Signed in on one device" in supervisor.get("/people/ines").text


def test_a_new_link_makes_the_earlier_one_useless(served: League, supervisor: Browser) -> None:
    first = link_in(post(supervisor, "/people/ines/invite").text)
    second = link_in(post(supervisor, "/people/ines/invite").text)
    assert [served.browser().get(each).status_code for each in (first, second)] == [404, 200]


def test_signing_out_everywhere_ends_devices_and_links(served: League, supervisor: Browser) -> None:
    phone = served.browser("official")
    address = link_in(post(supervisor, "/people/sil/invite").text)
    assert phone.get("/me").status_code == 200
    post(supervisor, "/people/sil/sign-out")
    assert phone.get("/me").headers["location"] == "/sign-in"
    assert served.browser().get(address).status_code == 404


def fresh(tmp_path: Path) -> Database:
    from app.store.migrate import migrate

    url = f"sqlite:///{tmp_path / 'fresh.db'}"
    migrate(url)
    return Database(url)


def test_the_first_invite_is_made_until_a_supervisor_can_come_in(tmp_path: Path) -> None:
    database, now = fresh(tmp_path), datetime(2026, 9, 1, 18, 0, tzinfo=UTC)
    first, second = first_invite(database, now), first_invite(database, now + timedelta(minutes=1))
    assert first
    assert second
    assert first != second
    with database.read() as session:
        (person,) = list_people(session)
        assert person.role is Role.SUPERVISOR
        assert accounts(session, [person.id], now)[person.id].invited_until == now + timedelta(days=1, minutes=1)
    database.close()


def test_no_first_invite_once_a_supervisor_is_signed_in(served: League, supervisor: Browser) -> None:
    assert supervisor.get("/people").status_code == 200
    assert first_invite(served.database, datetime.now(UTC)) is None


def test_a_coordinator_who_is_signed_in_does_not_stand_in_the_way_of_the_first_supervisor(tmp_path: Path) -> None:
    database = fresh(tmp_path)
    database.change(add_person, Person("p", "Piet", Role.COORDINATOR), datetime(2026, 9, 1, tzinfo=UTC))
    assert first_invite(database, datetime(2026, 9, 1, tzinfo=UTC))
    database.close()


# --------------------------------------------------------------------------------- lists


def brought(browser: Browser, data: bytes, name: str = "people.csv") -> Response:
    fields = {"form_token": browser.form_key}
    return browser.post("/people/import/preview", data=fields, files={"file": (name, data, "text/csv")})


def hidden(page: str) -> dict[str, str]:
    """What the last form of the preview carries."""
    form = page[page.index('action="/people/import"') :]
    fields = re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form)
    return {name: html.unescape(value) for name, value in fields}


def test_a_list_is_shown_row_by_row_before_anything_is_kept(served: League, supervisor: Browser) -> None:
    page = html.unescape(brought(supervisor, LIST.encode()).text)
    assert "Three people are new, one is already here, two rows are not understood." in page
    assert 'There is no position "Goalkeeper"; there are: Referee, Assistant.' in page
    assert "The same as line 3." in page
    assert "The crew is new and will be added." in page
    with served.database.read() as session:
        assert len(list_people(session)) == len(PEOPLE)


def test_nothing_is_kept_while_a_row_is_not_understood_unless_it_is_left_out_on_purpose(
    served: League, supervisor: Browser
) -> None:
    fields = hidden(brought(supervisor, LIST.encode()).text)
    refused = supervisor.post("/people/import", data=fields)
    assert refused.status_code == 422
    assert "2 rows are not understood, so nothing was kept." in refused.text
    with served.database.read() as session:
        assert len(list_people(session)) == len(PEOPLE)
    assert supervisor.post("/people/import", data=fields | {"skip_wrong": "yes"}).status_code == 303
    chief = found(served, "Noor Adami")
    with served.database.read() as session:
        assert len(list_people(session)) == len(PEOPLE) + 3
        (saltpan,) = [crew for crew in list_crews(session) if crew.title == "Saltpan"]
    assert (saltpan.chief_id, chief.role) == (chief.id, Role.OFFICIAL)
    assert history(served, found(served, "Tomas Berrin").id)[0].crew_id == "ferry"
    assert found(served, "Hanne Brook").email == "hanne@example.org"


def test_the_same_list_again_adds_nobody(served: League, supervisor: Browser) -> None:
    good = b"Name,Crew,Position\nTomas Berrin,Ferry,Assistant\nNoor Adami,,\n"
    supervisor.post("/people/import", data=hidden(brought(supervisor, good).text))
    page = brought(supervisor, good).text
    assert "No people are new, two are already here." in page
    supervisor.post("/people/import", data=hidden(page))
    with served.database.read() as session:
        assert len(list_people(session)) == len(PEOPLE) + 2


def test_a_name_that_is_here_elsewhere_is_told_and_never_merged(served: League, supervisor: Browser) -> None:
    page = brought(supervisor, b"Name,Crew,Position\nSil Marram,Harbour,Referee\n").text
    assert "Somebody of this name is here, in Ferry; this adds another person." in page
    supervisor.post("/people/import", data=hidden(page))
    with served.database.read() as session:
        assert [each.name for each in list_people(session)].count("Sil Marram") == 2
        assert load_person(session, "sil").name == "Sil Marram"


def test_columns_can_be_matched_by_hand(supervisor: Browser) -> None:
    first = brought(supervisor, b"A,B\nHarbour,Tomas Berrin\n").text
    assert "one row is not understood" in first
    again = {**hidden(first), "name": "1", "crew": "", "role": "", "position": "", "email": ""}
    page = supervisor.post("/people/import/preview", data=again).text
    assert "One person is new." in page
    assert "Tomas Berrin" in page


@pytest.mark.parametrize(
    ("data", "sentence"), [(b"", "This file has no rows."), (b"\x89PNG\0", "This is no table."), (b"Name\n", "one row")]
)
def test_a_file_that_is_no_list_is_refused_in_words(supervisor: Browser, data: bytes, sentence: str) -> None:
    reply = brought(supervisor, data)
    assert reply.status_code == 422
    assert sentence in reply.text


@pytest.mark.parametrize("table", ["", "nonsense", '{"head": ["a"], "rows": [[1, ["' + "a" * 9 + '"]]], "x": 1', "[]"])
def test_a_table_that_was_changed_on_its_way_is_refused(served: League, supervisor: Browser, table: str) -> None:
    reply = supervisor.post("/people/import", data={"form_token": supervisor.form_key, "table": table, "name": "0"})
    assert reply.status_code == 422
    with served.database.read() as session:
        assert len(list_people(session)) == len(PEOPLE)


def test_people_of_a_new_league_are_told_what_goes_here(served: League, supervisor: Browser) -> None:
    def empty(session: Session) -> None:
        save_positions(session, POSITIONS)

    served.database.change(empty)
    assert "Bring a list" in supervisor.get("/people").text
