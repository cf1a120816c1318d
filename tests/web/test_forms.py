"""Every form of every page, filled in as nobody would: never a fault, nothing kept by halves, no page broken by it.

The forms are read from the pages themselves, so a new one is tried without being named here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote_plus, urljoin

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from app.web.access import TABLE
from tests.web.filled import ROLES, Filled, everything, filled
from tests.web.serving import FORM, Wire

FEW = settings(max_examples=4, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
OPENED_ON = {
    "/clips/new": "?recording=line&at=40",
    "/clips/{clip_id}": "?topic=offside",
    "/lessons/{lesson_id}/add-step": "?kind=question&clip=play-0",
}
"""Pages that have their form only when they are asked for so."""
WORDS = {
    "name": "Noor Adami", "title": "A title", "series": "Offside", "number": "3", "seconds": "3", "angle": "High",
    "grounds": "Seen on the field", "text": "I do not agree", "reply": "Level is on.",
    "in_frame": "30", "out_frame": "170", "decisive": "60", "reveal": "150",
}  # fmt: skip
"""What a person would type into an empty field of this name; into others, nothing."""
LAST = re.compile(r"^/me/devices/|^/invite/")
"""Addresses that are left to the end, because they end the device from which everything is sent."""
FILES = (b"", b"Name,Crew\nNoor Adami,Ferry\n", b"\x00\x01\x02", b"PK\x03\x04" + b"\x00" * 40, b"\xff\xfe\xd8\x00")
ODD = (
    "", " ", "\0", "Some\0one", "\ud800", "\u202e", "x" * 100_000, str(2**63), "-1", "1e999", "NaN", "../../etc", "%00",
    "9999-12-31", "0000-00-00", "2031-02-30", "<script>alert(1)</script>", "'; DROP TABLE person; --", "=1+1", "[]",
    "\U0001f3a5", "line\r\nline", "{{ 7 * 7 }}",
)  # fmt: skip


@dataclass(frozen=True)
class Form:
    """A form of a page: where it goes, its fields with what stands in them or may be chosen, those that take files."""

    page: str
    action: str
    is_multipart: bool
    fields: dict[str, list[str]] = field(default_factory=dict)
    files: set[str] = field(default_factory=set)


class Reader(HTMLParser):
    """Reads the posting forms of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.page, self.found, self._select = page, list[Form](), ""
        self._form: Form | None = None
        self._option = False

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form":
            action = urljoin(self.page, said.get("action", self.page))
            self._form = Form(self.page, action, "multipart" in said.get("enctype", ""))
            if said.get("method") == "post":
                self.found.append(self._form)
        elif self._form is not None and said.get("name"):
            self._field(self._form, tag, said)
        elif self._form is not None and tag == "option" and self._select:
            self._option = "value" not in said
            if "value" in said:
                self._offer(said["value"], first="selected" in said)

    def _field(self, form: Form, tag: str, said: Mapping[str, str]) -> None:
        name, kind = said["name"], said.get("type", "text")
        kept = form.fields.setdefault(name, [])
        self._select = name if tag == "select" else ""
        if kind == "file":
            form.files.add(name)
        elif tag != "select":
            kept.insert(0 if "checked" in said else len(kept), said.get("value") or WORDS.get(name, ""))

    def handle_data(self, data: str) -> None:
        if self._option:
            self._offer(data, first=False)
            self._option = False

    def _offer(self, value: str, *, first: bool) -> None:
        """Note what may be chosen: what is chosen already first, nothing at all last."""
        assert self._form is not None
        offered = self._form.fields[self._select]
        offered.insert(0 if first else len(offered), value)
        offered.sort(key=lambda each: not each)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None


def forms_of(full: Filled, wire: Wire, who: str) -> list[Form]:
    """The forms of all pages that somebody may ask for, one for each route that it goes to, the last ones last."""
    found: dict[str, Form] = {}
    for path in (path for method, path in TABLE if method == "GET" and ROLES[who] in TABLE[method, path]):
        address = path.format(**full.ids(who, path)) + OPENED_ON.get(path, "")
        reader = Reader(address)
        reader.feed(wire.ask("GET", address).text)
        for each in reader.found:
            found.setdefault(f"{route_of(each.action)} {sorted(each.fields)}", each)
    return sorted(found.values(), key=lambda form: bool(LAST.match(form.action)))


def route_of(action: str) -> str:
    """The path in the table that an address belongs to: the one with the fewest parameters."""
    patterns = {path: re.sub(r"{\w+}", "[^/]+", path) for method, path in TABLE if method == "POST"}
    found = [path for path, pattern in patterns.items() if re.fullmatch(pattern, action.partition("?")[0])]
    return min(found, key=lambda path: path.count("{"))


def renewed(wire: Wire, form: Form) -> Form:
    """The form as its page has it now, after what was sent before; it counts versions."""
    reader = Reader(form.page)
    reader.feed(wire.ask("GET", form.page).text)
    return next(
        (each for each in reader.found if (each.action, each.fields.keys()) == (form.action, form.fields.keys())), form
    )


def filled_in(form: Form) -> st.SearchStrategy[list[tuple[str, str]]]:
    """Fields with values: mostly what a person would send, sometimes odd, missing, or there twice."""
    text = st.one_of(st.sampled_from(ODD), st.text(max_size=40))
    parts = []
    for name, values in form.fields.items():
        if name == "form_token":
            parts.append(st.just([(name, values[0])]))
            continue
        proper = st.sampled_from(values or [""])
        value = st.tuples(st.just(name), st.one_of(proper, proper, proper, text))
        parts.append(st.one_of(st.lists(value, min_size=1, max_size=1), st.lists(value, max_size=3)))
    return st.tuples(*parts).map(lambda each: [pair for pairs in each for pair in pairs])


def each_odd(form: Form) -> Iterator[list[tuple[str, str]]]:
    """The form as a person would send it, but for one field after the other, which have all odd texts between them."""
    names = sorted(form.fields.keys() - {"form_token"})
    for k, odd in enumerate(ODD if names else ()):
        at = names[k % len(names)]
        yield [(name, odd if name == at else (values or [""])[0]) for name, values in form.fields.items()]


def sent(wire: Wire, form: Form, pairs: list[tuple[str, str]], data: bytes, multipart: bool) -> tuple[int, str]:
    """Post it, as a form or in parts; the status, and what was said."""
    if not multipart:
        body, kind = "&".join(f"{_quoted(name)}={_quoted(value)}" for name, value in pairs).encode(), FORM
    else:
        head = 'Content-Disposition: form-data; name="%s"'
        parts = [
            (head % name + ('; filename="a\\\\..%00<b>.csv"' if name in form.files else ""), value)
            for name, value in pairs
        ]
        chunks = [
            b"--edge\r\n" + top.encode() + b"\r\n\r\n" + (data if "filename" in top else _bytes(value)) + b"\r\n"
            for top, value in parts
        ]
        body, kind = b"".join(chunks) + b"--edge--\r\n", "multipart/form-data; boundary=edge"
    reply = wire.ask("POST", form.action, body, kind)
    return reply.status, reply.text


def _quoted(text: str) -> str:
    return quote_plus(_bytes(text))


def _bytes(text: str) -> bytes:
    """As UTF-8, half pairs too: browsers do not send those, others may."""
    return text.encode("utf-8", "surrogatepass")


@pytest.fixture
def full(tmp_path: Path) -> Iterator[Filled]:
    """A league of the test's own: much of what is sent is kept."""
    with filled(tmp_path) as made:
        yield made


@pytest.mark.parametrize(("who", "least"), [("supervisor", 16), ("coordinator", 1), ("official", 3)])
def test_no_form_breaks_anything_however_it_is_filled_in(full: Filled, who: str, least: int) -> None:
    wire = full.wire(who)
    forms = forms_of(full, wire, who)
    assert len({form.action for form in forms}) >= least
    for form in forms:
        tried(full, wire, renewed(wire, form))
    assert_whole(full)


def tried(full: Filled, wire: Wire, form: Form) -> None:
    """Send a form with each odd text in one of its fields, then at random. What is refused has changed nothing."""

    made, statuses = full.served.league, set()
    before = everything(made)

    def send(pairs: list[tuple[str, str]], data: bytes, multipart: bool) -> None:
        nonlocal before
        changes = made.database.changes
        status, text = sent(wire, form, pairs, data, multipart)
        statuses.add(status)
        assert status < 500, (form.action, pairs, text[:300])
        now = before if made.database.changes == changes else everything(made)
        assert status in (200, 303) or now == before, (form.action, status)
        before = now

    @FEW
    @given(pairs=filled_in(form), data=st.sampled_from(FILES), other_way=st.integers(0, 5))
    def at_random(pairs: list[tuple[str, str]], data: bytes, other_way: int) -> None:
        send(pairs, data, form.is_multipart is not (other_way == 0))

    for pairs in each_odd(form):
        send(pairs, FILES[1], form.is_multipart)
    at_random()
    assert LAST.match(form.action) or statuses & {401, 403} == set(), form.action


def assert_whole(full: Filled) -> None:
    """After all that was sent: every page is there, no text has a sign that no database keeps, no file is loose."""
    for path in (path for method, path in TABLE if method == "GET"):
        for who in ("supervisor", "official"):
            reply = full.wire(who).ask("GET", path.format(**full.ids(who, path)) + OPENED_ON.get(path, ""))
            assert reply.status < 500, path
    kept = everything(full.served.league)
    assert "\\x00" not in json.dumps(kept)
    assert "\\\\ud800" not in json.dumps(kept)
    spool = full.served.league.app.state.library.spool
    files = {path.name for path in spool.iterdir()} if spool.exists() else set()
    assert {name for name in files if not any(f"'{name}'" in row for row in kept["recording"])} == set()


def test_a_list_on_its_way_cannot_bring_what_no_database_keeps(full: Filled) -> None:
    wire = full.wire("supervisor")
    table = {"head": ["Name"], "rows": [[2, ["Noor\0 Adami"]]]}
    assert wire.post("/people/import", {"table": json.dumps(table), "name": "0"}).status == 303
    kept = json.dumps(everything(full.served.league))
    assert "Noor Adami" in kept
    assert "\\x00" not in kept
    broken = json.dumps(table).replace("\\u0000", "\\ud800")
    assert wire.post("/people/import", {"table": broken, "name": "0"}).status == 422
