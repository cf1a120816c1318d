"""Passwords: hashed with argon2id, two at a time, so that guessing cannot take the server's memory."""

from __future__ import annotations

import asyncio

from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

SHORTEST = 8
COMMON = frozenset(
    """12345678 123456789 1234567890 password password1 passw0rd qwertyui qwerty123 qwertyuiop iloveyou 11111111
    00000000 letmein1 football baseball whatever superman princess sunshine starwars trustno1 abcd1234 1q2w3e4r
    referee1 official umpire12 welcome1 admin123 changeme pennon12 pennonpennon""".split()
)

_hash = PasswordHash((Argon2Hasher(time_cost=2, memory_cost=19 * 1024, parallelism=1),))
_two = asyncio.Semaphore(2)
_NOBODY = _hash.hash("nobody has this password")


def weakness(password: str) -> str | None:
    """Why a password will not do; None when it will."""
    if len(password) < SHORTEST:
        return f"At least {SHORTEST} characters."
    if len(password) > 200:
        return "At most 200 characters."
    if password.lower() in COMMON or len(set(password)) < 3:
        return "This one is among the first that anybody would try."
    return None


async def hashed(password: str) -> str:
    """The hash to store."""
    async with _two:
        return await asyncio.to_thread(_hash.hash, password)


async def is_right(password: str, stored: str | None) -> bool:
    """Whether the password is the stored one; takes as long for somebody who has none."""
    async with _two:
        right = await asyncio.to_thread(_hash.verify, password[:200], stored or _NOBODY)
    return right and stored is not None
