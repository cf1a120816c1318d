"""Acceptance of stage 2, as a stranger would run it: one line `{"check", "value", "ok"}` per item.

`make accept-2` runs all (`KILLS=3` kills the demo less often); `ARGS=--no-clone` leaves out what is done from a clean
clone, and says so. Exit code 1 when any item is not ok. What needs eyes is no item: it is written down where the work
is handed over.
"""

from __future__ import annotations

import json
import os
import random
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.error import HTTPError
from urllib.parse import urlencode, urljoin, urlsplit
from urllib.request import HTTPCookieProcessor, OpenerDirector, Request, build_opener, urlopen

from tests.accept.lines import Item, report
from tests.ports import free_port

ROOT = Path(__file__).resolve().parents[2]
READY_S, AGAIN_S, COMPLETE_S = 120, 20, 600
OF_A_KIND = 25
"""Pages of one kind that the crawl opens: the demo has thousands of looked-at looks."""
KILLS, SEED = int(os.environ.get("KILLS", "8")), 3
MADE = ("person", "crew", "membership", "recording", "clip", "lesson", "edition", "quiz", "sitting", "question",
        "answer", "reason", "disagreement", "assignment")  # fmt: skip
"""Tables whose rows are counted: a demo that was killed must come to the same as one that was not."""


@dataclass
class Demo:
    """A demo as a process of its own. `said`: its lines so far."""

    process: subprocess.Popen[str]
    port: int
    began: float
    said: list[str] = field(default_factory=list)

    def listen(self) -> None:
        """Collect what it says until it ends."""
        assert self.process.stdout is not None
        self.said.extend(line.rstrip() for line in self.process.stdout)

    def waited(self, words: str, limit: float) -> float | None:
        """Seconds from its beginning until it said so; None when it ended or the limit passed before."""
        while time.monotonic() - self.began < limit:
            if any(line.startswith(words) for line in list(self.said)):
                return round(time.monotonic() - self.began, 1)
            if self.process.poll() is not None:
                return None
            time.sleep(0.05)
        return None

    def links(self) -> dict[str, str]:
        """Role -> sign-in link."""
        found = (re.match(r"  ([a-z ]+?)  .*(http\S+)$", line) for line in list(self.said))
        return {match[1]: match[2] for match in found if match}

    def kill(self, sign: signal.Signals = signal.SIGKILL) -> None:
        """End it, and whatever it started."""
        if self.process.poll() is None:
            os.killpg(self.process.pid, sign)
        self.process.wait()


@contextmanager
def demo(data: Path, tree: Path = ROOT, home: Path | None = None) -> Iterator[Demo]:
    """`make demo` in a tree; with `home`, as somebody whose caches are empty."""
    port = free_port()
    environment = os.environ | {"PENNON_DATA": str(data), "PENNON_PORT": str(port)}
    if home is not None:
        environment |= {"HOME": str(home), "XDG_CACHE_HOME": str(home / "cache"), "PIP_NO_CACHE_DIR": "1"}
    process = subprocess.Popen(
        ["make", "demo"], cwd=tree, env=environment, text=True, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    started = Demo(process, port, time.monotonic())
    threading.Thread(target=started.listen, daemon=True).start()
    try:
        yield started
    finally:
        started.kill()


def counted(data: Path) -> dict[str, int]:
    """How many rows there are of everything the demo makes."""
    with sqlite3.connect(data / "league.db") as database:
        return {table: database.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in MADE}


def healthy(port: int) -> object:
    """What `/healthz` answers."""
    with urlopen(f"http://127.0.0.1:{port}/healthz", timeout=20) as reply:
        return json.load(reply)


# ------------------------------------------------------------------------------------------------- the items


def fresh(work: Path) -> Iterator[Item]:
    """`make demo` from a clean clone with empty caches, and again."""
    clone, home, data = work / "clone", work / "home", work / "fresh"
    subprocess.run(["git", "clone", "-q", str(ROOT), str(clone)], check=True)
    home.mkdir()
    for what, limit in (("first", READY_S), ("second", AGAIN_S)):
        with demo(data, clone, home) as running:
            seconds = running.waited("Pennon is ready at http://127.0.0.1:", limit + 60)
            yield f"demo from a clean clone, {what} time: s to ready", seconds, seconds is not None and seconds <= limit
            answer = healthy(running.port) if seconds is not None else None
            yield f"healthz, {what} time", answer, isinstance(answer, dict) and answer.get("status") == "ok"
            running.kill(signal.SIGINT)


def foreign(work: Path) -> Iterator[Item]:
    """A folder with something else in it is refused and left alone."""
    data = work / "foreign"
    data.mkdir()
    (data / "letters.txt").write_text("dear league")
    with demo(data) as running:
        running.process.wait(60)
        time.sleep(0.2)
        said = " ".join(running.said)
    left = sorted(path.name for path in data.iterdir())
    yield "foreign folder", said[:160], "holds something else" in said and left == ["letters.txt"]


def killed(work: Path) -> Iterator[Item]:
    """A demo killed at random moments comes to the same as one that was left alone."""
    with demo(work / "calm") as calm:
        complete = calm.waited("The demo is complete", COMPLETE_S)
        yield "demo left alone: s to complete", complete, complete is not None
        wanted = counted(work / "calm")
        yield from crawled(calm)
    chance, seconds = random.Random(SEED), []
    for _ in range(KILLS):
        with demo(work / "killed") as running:
            seconds.append(round(chance.uniform(0.2, 1.2 * (complete or 60)), 1))
            time.sleep(seconds[-1])
            running.kill()
    with demo(work / "killed") as running:
        again = running.waited("The demo is complete", COMPLETE_S)
    found = counted(work / "killed") if again is not None else {}
    with sqlite3.connect(work / "killed" / "league.db") as database:
        whole = database.execute("PRAGMA integrity_check").fetchone()[0]
    other = {table: [found.get(table), number] for table, number in wanted.items() if found.get(table) != number}
    yield f"demo killed after {seconds} s, then left alone", other or "the same rows", not other and whole == "ok"
    parts = [str(path.relative_to(work)) for path in (work / "killed").rglob("*.part")]
    yield "half-made files left", parts, parts == []


def crawled(running: Demo) -> Iterator[Item]:
    """The pages that a role can reach by links in the complete demo answer as they should, `OF_A_KIND` of each kind."""
    for role, link in running.links().items():
        browser, seen, kinds = signed_in(link), Counter[int](), Counter[str]()
        waiting, known = ["/"], {"/"}
        while waiting:
            address = waiting.pop()
            kinds[kind(address)] += 1
            if kinds[kind(address)] > OF_A_KIND:
                continue
            status, final, links = fetched(browser, urljoin(link, address))
            seen[status] += 1
            new = {each for each in links if each not in known and not each.startswith(("/static", "/media", "/looks"))}
            known |= new | {final}
            waiting += sorted(new)
        answers = f"{dict(seen)} of {len(kinds)} kinds, {len(known)} addresses known"
        yield f"pages reached by links, {role}: answers", answers, set(seen) == {200} and seen[200] > 3


def kind(address: str) -> str:
    """An address with its names and numbers left out: pages of one kind are made by one template."""
    path, _, query = address.partition("?")
    parts = ("*" if len(part) > 12 or any(sign.isdigit() for sign in part) else part for part in path.split("/"))
    return "/".join(parts) + "?" + "&".join(sorted(each.partition("=")[0] for each in query.split("&")))


def signed_in(link: str) -> OpenerDirector:
    """A browser that came in by a link."""
    browser = build_opener(HTTPCookieProcessor(CookieJar()))
    browser.addheaders = [("Accept", "text/html"), ("Sec-Fetch-Site", "same-origin")]
    browser.open(link, timeout=60).read()
    browser.open(Request(link, urlencode({}).encode()), timeout=60).read()
    return browser


def fetched(browser: OpenerDirector, url: str) -> tuple[int, str, set[str]]:
    """Status of a page, the path it ended at, the paths it links to."""
    try:
        with browser.open(url, timeout=60) as reply:
            text = reply.read().decode("utf-8", "replace") if "html" in reply.headers["content-type"] else ""
            status, final = reply.status, reply.url
    except HTTPError as error:
        return error.code, urlsplit(url).path, set()
    links = {urljoin(final, each) for each in re.findall(r'href="([^"#]+)', text)}
    here = urlsplit(url).netloc
    return status, urlsplit(final).path, {
        f"{urlsplit(each).path}?{urlsplit(each).query}".rstrip("?") for each in links if urlsplit(each).netloc == here
    }  # fmt: skip


TESTS = (
    ("store on SQLite and PostgreSQL", ["tests/store", "tests/web/test_postgresql.py"]),
    ("access crawl and schema over a running server", ["tests/web/test_access.py", "tests/web/test_schema.py"]),
    ("an official's check by touch", ["tests/browser/test_check.py"]),
    ("the supervisor's evening", ["tests/browser/test_desk.py"]),
    ("axe, 360 px and more on every page", ["tests/browser/test_pages.py"]),
)


def tested(work: Path) -> Iterator[Item]:  # noqa: ARG001
    """The tests that hold the rest, each without a skip."""
    for what, paths in TESTS:
        command = [sys.executable, "-m", "pytest", "-q", "-rs", *paths]
        environment = os.environ | {"CI": "true"}
        done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
        closing = next((line for line in reversed(done.stdout.splitlines()) if " in " in line), done.stderr[-300:])
        yield f"tests: {what}", closing.strip("= "), done.returncode == 0 and "skipped" not in closing


if __name__ == "__main__":
    report(__doc__, (foreign, killed, tested, fresh), {fresh: "make demo from a clean clone"})
