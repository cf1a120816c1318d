"""Hundreds of phones take a check in the same seconds, on a server of its own: what it acknowledged is kept, once.

    python -m tests.load.run [--clients N] [--seed N] [--beside-build]
    python -m tests.load.run --kills N [--clients N] [--seed N]

Prints one JSON object: of one run, how it went; of so many runs with a kill -9 in the middle of each, what was lost.
Exit code 1 when anything was lost, kept twice, or went wrong without a reason.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import random
import shutil
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.fault.killed import Killable
from tests.load.building import building
from tests.load.clinic import LOOKS, Clinic, held, opened
from tests.load.phones import PAUSE_S, Phone, Tally

CLIENTS = 300
MOMENTS = (0.1, 0.9)
"""Shares of the answers between which the server is killed."""


@dataclass(frozen=True)
class Loaded:
    """One crowd. `acknowledged`: answers; `lost`, `doubled`: of what was acknowledged, by the database afterwards.

    `errors`: kind -> how often; `p50_ms`, `p99_ms`: how long an answer took; `requests_per_s`: of all kinds together.
    """

    clients: int
    acknowledged: int
    errors: dict[str, int]
    lost: int
    doubled: int
    p50_ms: float
    p99_ms: float
    requests: int
    requests_per_s: float
    resent: int

    @property
    def is_good(self) -> bool:
        """Whether everybody came to the end, and all of it is there."""
        return not (self.errors or self.lost or self.doubled)


@dataclass(frozen=True)
class Survived:
    """So many crowds, the server killed once in each."""

    runs: int
    acknowledged: int
    lost: int
    doubled: int
    errors_not_explained: dict[str, int]
    resent: int
    seconds: float

    @property
    def is_good(self) -> bool:
        """Whether nothing that was acknowledged is lost or there twice, and all went on."""
        return not (self.errors_not_explained or self.lost or self.doubled)


def loaded(clients: int = CLIENTS, *, beside_build: bool = False, seed: int = 1) -> Loaded:
    """One crowd on an undisturbed server, or beside a tape that is being built."""
    with _clinic(clients) as clinic, building() if beside_build else nullcontext():
        return _crowd(clinic, random.Random(seed), kill_at=None)


def killed(runs: int, clients: int = CLIENTS, *, seed: int = 1) -> Survived:
    """So many crowds, each with a kill in the middle."""
    chance, found, began = random.Random(seed), [], time.monotonic()
    with _clinic(clients) as clinic:
        for number in range(1, runs + 1):
            found.append(_crowd(clinic, chance, kill_at=chance.uniform(*MOMENTS)))
            print(f"{number}: {found[-1]}", file=sys.stderr, flush=True)
    return _survived(found, time.monotonic() - began)


def _survived(found: Sequence[Loaded], seconds: float) -> Survived:
    errors: Counter[str] = Counter()
    for each in found:
        errors.update(each.errors)
    return Survived(
        runs=len(found),
        acknowledged=sum(each.acknowledged for each in found),
        lost=sum(each.lost for each in found),
        doubled=sum(each.doubled for each in found),
        errors_not_explained=dict(errors),
        resent=sum(each.resent for each in found),
        seconds=round(seconds, 1),
    )


@contextmanager
def _clinic(clients: int) -> Iterator[Clinic]:
    with TemporaryDirectory(prefix="pennon-load-") as name:
        data = Path(name) / "league"
        data.mkdir()
        yield opened(data, clients)


def _crowd(clinic: Clinic, chance: random.Random, *, kill_at: float | None) -> Loaded:
    """A crowd on a fresh copy of the clinic."""
    with TemporaryDirectory(prefix="pennon-load-") as name:
        data = Path(name) / "league"
        shutil.copytree(clinic.data, data)
        tally, seconds = crowded(clinic, data, chance, kill_at=kill_at)
        return judged(tally, data, len(clinic.seats), seconds)


def crowded(clinic: Clinic, data: Path, chance: random.Random, *, kill_at: float | None = None) -> tuple[Tally, float]:
    """What a crowd was told by a server on this copy of the clinic, and the seconds that it took."""
    server = Killable(data, clinic.supervisor)
    server.start()
    try:
        return asyncio.run(_served(clinic, server, chance, kill_at))
    finally:
        server.kill()


async def _served(
    clinic: Clinic, server: Killable, chance: random.Random, kill_at: float | None
) -> tuple[Tally, float]:
    tally, began = Tally(), time.monotonic()
    phones = [Phone(server.port, seat, tally, random.Random(chance.getrandbits(32))) for seat in clinic.seats]
    taking = asyncio.gather(*(phone.take() for phone in phones))
    if kill_at is not None:
        await _kill(server, tally, round(kill_at * LOOKS * len(phones)))
    await taking
    return tally, time.monotonic() - began


async def _kill(server: Killable, tally: Tally, after: int) -> None:
    """Kill the server when so many answers have been acknowledged, and start it again; the phones go on meanwhile."""
    while len(tally.answers) < after and not tally.errors:
        await asyncio.sleep(PAUSE_S / 10)
    tally.down, tally.kills = True, tally.kills + 1
    server.kill()
    await asyncio.to_thread(server.start)
    tally.down = False


def judged(tally: Tally, data: Path, clients: int, seconds: float) -> Loaded:
    """What a crowd was told, compared with what the database holds."""
    kept = held(data)
    rows = {(sitting, n): (key, said) for sitting, n, key, said in kept.answers}
    lost = [look for look, (key, said) in tally.answers.items() if rows.get(look) not in ((key, said), (key, None))]
    doubled = rows.keys() - tally.answers.keys()  # a look has one answer at most, so a second one is in another's place
    waits = sorted(tally.waits) or [0.0]
    unended = clients - len(tally.ended) - sum(times for what, times in tally.errors.items() if what[:5] == "ended")
    errors = tally.errors + Counter({"not ended": unended} if unended else {})
    return Loaded(
        clients=clients,
        acknowledged=len(tally.answers),
        errors=dict(errors),
        lost=len(lost) + len(tally.reasons - kept.reasons) + len(tally.ended - kept.ended),
        doubled=len(doubled),
        p50_ms=round(waits[len(waits) // 2] * 1000, 1),
        p99_ms=round(waits[int(len(waits) * 0.99)] * 1000, 1),
        requests=tally.requests,
        requests_per_s=round(tally.requests / seconds, 1),
        resent=tally.resent,
    )


def main() -> None:
    """Print the line that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clients", type=int, default=CLIENTS)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--beside-build", action="store_true")
    given = parser.parse_args()
    found: Loaded | Survived
    if given.kills:
        found = killed(given.kills, given.clients, seed=given.seed)
    else:
        found = loaded(given.clients, beside_build=given.beside_build, seed=given.seed)
    print(json.dumps(asdict(found)), flush=True)
    raise SystemExit(0 if found.is_good else 1)


if __name__ == "__main__":
    main()
