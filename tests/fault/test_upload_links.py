"""Files on their way over links that hang, stall and break, and two hands that want to write: over real connections."""

from __future__ import annotations

import os
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest

from app.adapters.incoming import Parts
from app.web import tus
from app.web.auth import digest, form_token
from tests.web.league import league
from tests.web.serving import Served, serving
from tests.web.tus import PATIENCE_S, Sender

DATA = bytes(range(256)) * 40
STALL_S = 0.3


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("links")
    with league(data) as made:
        made.browser("supervisor")
    with serving(data) as running:
        yield running


@pytest.fixture
def sender(served: Served) -> Sender:
    token = "supervisor-test"
    return Sender(served.port, token, form_token(served.league.app.state.secret, digest(token)))


def parts(served: Served) -> Parts:
    return Parts(served.league.app.state.library)


def name(place: str) -> str:
    return place.rsplit("/", 1)[1]


def received(served: Served, place: str) -> bytes:
    return (served.league.data / "spool" / name(place)).read_bytes()


def await_writer(served: Served, place: str) -> None:
    """Wait until somebody holds the file."""
    end = time.monotonic() + PATIENCE_S
    while name(place) not in served.league.app.state.writers._writing:
        assert time.monotonic() < end, "nobody writes"
        time.sleep(0.01)


def await_bytes(served: Served, place: str, size: int) -> None:
    """Wait until so many bytes of the file are there."""
    end = time.monotonic() + PATIENCE_S
    while parts(served).size(name(place)) != size:
        assert time.monotonic() < end, "what came was lost"
        time.sleep(0.01)


def said_until_closed(wire: socket.socket) -> bytes:
    said = b""
    while more := wire.recv(4096):
        said += more
    return said


# ------------------------------------------------------------------------------------------- two hands


def test_a_second_writer_is_turned_away_and_the_first_goes_on(served: Served, sender: Sender) -> None:
    place = sender.place(len(DATA))
    with sender.half_sent(place, 0, len(DATA), DATA[:100]) as first:
        await_writer(served, place)
        assert sender.send(place, 0, DATA).status == 423
        first.sendall(DATA[100:])
        assert first.recv(4096).startswith(b"HTTP/1.1 204")
    assert received(served, place) == DATA


def test_a_writer_in_another_process_is_not_disturbed(served: Served, sender: Sender) -> None:
    place = sender.place(len(DATA))
    with parts(served).writing(name(place)):
        assert sender.stands(place).status == 423
        assert sender.send(place, 0, DATA).status == 423
        assert sender.ask("DELETE", place).status == 423
    assert sender.send(place, 0, DATA).status == 204


def test_who_asks_where_it_stands_ends_their_own_hanging_request(served: Served, sender: Sender) -> None:
    place = sender.place(len(DATA))
    with sender.half_sent(place, 0, len(DATA), DATA[:100]) as hanging:
        await_writer(served, place)
        began = time.monotonic()
        at = sender.stands(place).offset
        assert time.monotonic() - began < PATIENCE_S / 3
        assert hanging.recv(4096).startswith(b"HTTP/1.1 423")
        assert sender.send(place, at, DATA[at:]).offset == len(DATA)
    assert received(served, place) == DATA


def test_a_cancelled_file_leaves_nothing_though_it_is_being_written(served: Served, sender: Sender) -> None:
    place = sender.place(len(DATA))
    with sender.half_sent(place, 0, len(DATA), DATA[:100]):
        await_writer(served, place)
        assert sender.ask("DELETE", place).status == 204
    assert list((served.league.data / "incoming").glob(f"{name(place)}*")) == []
    assert sender.stands(place).status == 404


def test_a_disk_that_takes_less_than_it_is_given_is_given_the_rest(
    served: Served, sender: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = os.pwrite
    monkeypatch.setattr(os, "pwrite", lambda file, data, at: write(file, data[:1000], at))
    place = sender.place(len(DATA))
    assert sender.send(place, 0, DATA).status == 204
    assert received(served, place) == DATA


def test_whoever_opened_a_file_just_before_it_went_writes_nowhere(served: Served, sender: Sender) -> None:
    place = sender.place(10)
    with parts(served).writing(name(place)):
        parts(served).forget(name(place))
    with pytest.raises(FileNotFoundError), parts(served).writing(name(place)):
        pytest.fail("a file that is gone was opened")


# ------------------------------------------------------------------------------------------- links


def test_a_link_that_stalls_is_closed_and_goes_on_later(
    served: Served, sender: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tus, "STALL_S", STALL_S)
    place = sender.place(len(DATA))
    with sender.half_sent(place, 0, len(DATA), DATA[:5000]) as stalled:
        began = time.monotonic()
        assert said_until_closed(stalled).startswith(b"HTTP/1.1 408")
        assert STALL_S * 0.9 < time.monotonic() - began < PATIENCE_S / 3
    await_bytes(served, place, 5000)
    assert sender.send(place, 5000, DATA[5000:]).status == 204
    assert received(served, place) == DATA


def test_a_link_that_is_cut_keeps_what_had_come(served: Served, sender: Sender) -> None:
    place = sender.place(len(DATA))
    with sender.half_sent(place, 0, len(DATA), DATA[:5000]):
        await_writer(served, place)
        time.sleep(0.2)  # it is read by now; of a connection that is gone the server would read no more
    await_bytes(served, place, 5000)
    assert sender.stands(place).offset == 5000
    assert sender.send(place, 5000, DATA[5000:]).status == 204
    assert received(served, place) == DATA


def test_a_network_that_drops_every_link_after_a_while_brings_the_file_in_all_the_same(
    served: Served, sender: Sender
) -> None:
    data = bytes(reversed(DATA)) * 200
    place = sender.place(len(data))
    with dropping(served.port, 300_000) as (port, dropped):
        through = Sender(port, sender.token, sender.key)
        while (at := sender.stands(place).offset) < len(data):  # no other answer than where it stands
            try:
                through.send(place, at, data[at:])
            except OSError:
                continue
    assert len(dropped) > 3
    assert received(served, place) == data


@contextmanager
def dropping(port: int, after: int) -> Iterator[tuple[int, list[int]]]:
    """A way to the server that drops each link once so many bytes went over it; its port, and what it dropped."""
    dropped: list[int] = []
    with socket.create_server(("127.0.0.1", 0)) as door:
        threading.Thread(target=_let_through, args=(door, port, after, dropped), daemon=True).start()
        yield door.getsockname()[1], dropped


def _let_through(door: socket.socket, port: int, after: int, dropped: list[int]) -> None:
    with suppress(OSError):  # the door is closed in the end
        while True:
            near = door.accept()[0]
            with near, socket.create_connection(("127.0.0.1", port)) as far, suppress(OSError):
                _pass_on(near, far, after, dropped)


def _pass_on(near: socket.socket, far: socket.socket, after: int, dropped: list[int]) -> None:
    back = threading.Thread(target=_copy_back, args=(far, near), daemon=True)
    back.start()
    passed = 0
    while passed < after and (piece := near.recv(65536)):
        far.sendall(piece)
        passed += len(piece)
    if passed >= after:
        dropped.append(passed)
    near.shutdown(socket.SHUT_RDWR)
    far.shutdown(socket.SHUT_RDWR)
    back.join()


def _copy_back(far: socket.socket, near: socket.socket) -> None:
    with suppress(OSError):
        while piece := far.recv(65536):
            near.sendall(piece)
        near.shutdown(socket.SHUT_RDWR)
