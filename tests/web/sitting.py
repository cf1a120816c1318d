"""A phone without a screen: takes checks by the requests that a phone makes."""

from __future__ import annotations

from typing import Any

from app.store.quizzes import Quiz
from tests.web.league import Browser

SHORT = 3
"""Frames of a clip of a tenth of a second, which a test need not wait for."""


def started(phone: Browser, quiz: Quiz) -> str:
    """Begin a check; the sitting's id."""
    where = phone.post(f"/checks/{quiz.id}/start", data={"form_token": phone.form_key}).headers["location"]
    return where.removeprefix("/sittings/")


def sent(phone: Browser, sitting: str, path: str, body: object) -> Any:
    """What a phone posts, with what the server answers."""
    headers = {"x-form-token": phone.form_key, "accept": "application/json"}
    return phone.post(f"/sittings/{sitting}{path}", json=body, headers=headers)


def ahead(phone: Browser, sitting: str) -> dict[str, Any]:
    """The looks that are left."""
    found: dict[str, Any] = phone.get(f"/sittings/{sitting}/ahead").json()
    return found


def opened(phone: Browser, sitting: str, n: int) -> str:
    """Open a look; its nonce."""
    return str(sent(phone, sitting, f"/looks/{n}/open", {}).json()["nonce"])


def decision(nonce: str, decided: str | None = "flag", **changes: Any) -> dict[str, Any]:
    """A decision as a phone tells it, on a clip of a tenth of a second."""
    base = {
        "nonce": nonce, "idempotency": "a-key", "decision": decided, "load": 0, "play": 0, "decide": 0,
        "hidden": False, "dropped": 0.0,
    }  # fmt: skip
    return base | changes


def unseen(why: dict[str, Any]) -> dict[str, str]:
    """To the question why: that nothing could be seen."""
    return {point["id"]: "can't tell" for point in why["points"]} if why["whole"] else {"": "can't tell"}


def taken(phone: Browser, sitting: str, decided: str = "flag", shows: dict[str, str] | None = None) -> None:
    """Every look called the same way to the end; why: `shows` where that was asked, else that nothing was seen."""
    for look in ahead(phone, sitting)["looks"]:
        n = look["n"]
        why = sent(phone, sitting, f"/looks/{n}/answer", decision(opened(phone, sitting, n), decided)).json()["why"]
        said = shows if shows is not None and (why["whole"] or len(shows) == 1) else unseen(why)
        assert sent(phone, sitting, f"/looks/{n}/reason", {"shows": said}).status_code == 200
    assert sent(phone, sitting, "/finish", {}).json() == {"result": f"/sittings/{sitting}/result"}


# --------------------------------------------------------------------------------- in review


def review_ahead(phone: Browser, sitting: str) -> dict[str, Any]:
    """The review that is next."""
    found: dict[str, Any] = phone.get(f"/sittings/{sitting}/reviews").json()
    return found


def review_opened(phone: Browser, sitting: str, n: int) -> dict[str, Any]:
    """Open a review; what it asks."""
    found: dict[str, Any] = sent(phone, sitting, f"/reviews/{n}/open", {}).json()
    return found


def ruled(told: dict[str, Any], outcome: str | None = "stands", **changes: Any) -> dict[str, Any]:
    """How a review ends as a phone tells it, with the tenth frame of the first view."""
    base = {"nonce": told["nonce"], "idempotency": "k", "outcome": outcome, "angle": 0, "frame": 10, "after": 0}
    return base | changes


def reviewed(phone: Browser, sitting: str, outcome: str = "stands", frame: int = 10) -> None:
    """Every review decided the same way to the end, without having seen why."""
    while (look := review_ahead(phone, sitting)["look"]) is not None:
        n, told = look["n"], review_opened(phone, sitting, look["n"])
        given = ruled(told, outcome, frame=frame, idempotency=str(n))
        why = sent(phone, sitting, f"/reviews/{n}/answer", given).json()["why"]
        assert sent(phone, sitting, f"/reviews/{n}/reason", {"shows": unseen(why)}).status_code == 200
    assert sent(phone, sitting, "/finish", {}).json() == {"result": f"/sittings/{sitting}/result"}
