"""How much and how often: the size of what is sent, and slowing down whoever guesses.

Several windows make each further try wait longer. Tries are counted by address, and by address and account together:
never by account alone, or anybody could lock out anybody.
"""

from __future__ import annotations

import time

from limits import RateLimitItem, parse_many
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

MOST_BODY = 10 << 20
"""Bytes of a request, wherever no recordings are expected: a list of people has 8 MB at most."""
MOST_UPLOAD = 1 << 42
"""Bytes of a request with recordings. What really ends it is the room on the disk."""
MOST_VOICE = 200 << 20
"""Bytes of a step with its voice note: fifteen minutes of sound that nobody has compressed."""

PAIR = parse_many("5/minute;20/hour;60/day")
ADDRESS = parse_many("20/minute;120/hour")


class Guesses:
    """Failed tries of this process."""

    def __init__(self) -> None:
        self._windows = MovingWindowRateLimiter(MemoryStorage())

    def wait_s(self, address: str, account: str) -> int:
        """Seconds to wait before another try is listened to; 0 when it may be made now."""
        return max(self._wait(item, *key) for item, key in self._all(address, account))

    def failed(self, address: str, account: str) -> None:
        """Count a failed try."""
        for item, key in self._all(address, account):
            self._windows.hit(item, *key)

    def _all(self, address: str, account: str) -> list[tuple[RateLimitItem, tuple[str, ...]]]:
        pairs = [(item, ("pair", address, account.lower()[:200])) for item in PAIR]
        return [*pairs, *((item, ("address", address)) for item in ADDRESS)]

    def _wait(self, item: RateLimitItem, *key: str) -> int:
        if self._windows.test(item, *key):
            return 0
        return max(1, round(self._windows.get_window_stats(item, *key).reset_time - time.time()))
