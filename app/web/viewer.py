"""Who is looking: the person behind the cookie, as pages need to know them."""

from __future__ import annotations

from dataclasses import dataclass

from app.domain.people import Role


@dataclass(frozen=True)
class Viewer:
    """A signed-in person, or a guest (`person_id` empty). `device` is the digest of the token of this device."""

    person_id: str
    name: str
    role: Role
    crew_id: str | None = None
    device: str = ""

    @property
    def is_guest(self) -> bool:
        """Nobody has signed in."""
        return self.role is Role.GUEST

    @property
    def is_staff(self) -> bool:
        """Supervisor or coordinator: sees everybody's results."""
        return self.role in (Role.SUPERVISOR, Role.COORDINATOR)


GUEST = Viewer("", "", Role.GUEST)
