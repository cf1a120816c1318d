"""Recordings come in from the pages: files wait in the spool, a job prepares each, what it found is kept."""

from __future__ import annotations

import logging
import re
import secrets
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session

from app.actions.clip import move_marks, settle_marks
from app.actions.job import Work, order_job
from app.actions.recording import TakenIn, take_in
from app.adapters.files import Library
from app.adapters.overview import overview
from app.domain.errors import BadInput, Conflict, RecordingRefused, RenderFailed
from app.domain.recording import Game, House, Prepared, Recording
from app.store.content import list_games, save_game
from app.store.engine import Database
from app.store.jobs import OPEN, jobs_by_key
from app.store.league import audit, load_league
from app.store.recordings import (
    RecordingFacts,
    RecordingState,
    add_recording,
    count_clips_on,
    describe_recording,
    find_by_original,
    list_recordings,
    load_recording,
    remove_recording,
    set_prepared,
    set_recording_state,
)

log = logging.getLogger("pennon.intake")

FORGOTTEN = timedelta(days=3)
"""Parts of a picture with which nobody has gone on for so long are not waited for: they can be made again."""

UNCLAIMED = timedelta(hours=6)
"""A file in the spool that no recording has claimed for so long was left by a server that was killed."""


@dataclass(frozen=True)
class Incoming:
    """A recording whose file of `size` bytes lies in the spool under the recording's id."""

    recording: Recording
    size: int


def preparation_key(recording_id: str) -> str:
    """The key of the job that prepares a recording."""
    return f"prepare:{recording_id}"


def new_game(title: str, on: date | None = None) -> Game:
    """A game that is not there yet, with an id of its own."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    start = "-".join(re.findall(r"[a-z0-9]+", plain))[:60].strip("-") or "game"
    return Game(id=f"{start}-{secrets.token_hex(3)}", title=title, on=on)


def add_recordings(
    session: Session, incoming: Iterable[Incoming], new_game: Game | None, by: str, *, now: datetime
) -> list[str]:
    """Keep recordings that have come in, with their game where it is new, and order their preparation; the jobs' ids.

    Raises BadInput when a game is named that is not there.
    """
    games = _games(session, new_game)
    return [_add(session, each, games, by, now) for each in incoming]


def _games(session: Session, new_game: Game | None) -> set[str]:
    """Ids of the games there are, the new one among them."""
    if new_game is not None:
        save_game(session, new_game)
        session.flush()
    return {game.id for game in list_games(session)}


def _refuse_unknown(game: str | None, games: set[str]) -> None:
    if game is not None and game not in games:
        raise BadInput("That game is not here any more. Choose another one.")


def _add(session: Session, incoming: Incoming, games: set[str], by: str, now: datetime) -> str:
    recording = incoming.recording
    _refuse_unknown(recording.game, games)
    add_recording(session, recording, by, now, size=incoming.size)
    audit(session, now, by, "add", "recording", recording.id, file=recording.file, angle=recording.angle)
    key, args = preparation_key(recording.id), {"recording": recording.id}
    return order_job(session, "prepare", key, args, f"Preparing {recording.file}", by, now=now)


def enter_recording(
    session: Session, taken: TakenIn, name: str, angle: str, game: str, size: int, by: str, *, now: datetime
) -> str:
    """Keep a recording whose file `name` is in the library already; its id, or that of the one with the same bytes.

    `game`: title or id of a game; one that nobody has named yet is new. Empty: of no game.
    """
    earlier = find_by_original(session, taken.sha256)
    if earlier is not None:
        return earlier.id
    recording = Recording(id=secrets.token_hex(8), file=name, angle=angle, game=_game_named(session, game) or None)
    add_recording(session, recording, by, now)
    set_prepared(session, recording.id, taken.sha256, taken.prepared, size, now)
    audit(session, now, by, "add", "recording", recording.id, file=name, angle=angle, game=recording.game)
    return recording.id


def _game_named(session: Session, name: str) -> str:
    if not name:
        return ""
    wanted = name.casefold()
    known = [game.id for game in list_games(session) if wanted in (game.id, game.title.casefold())]
    if known:
        return known[0]
    made = new_game(name)
    save_game(session, made)
    session.flush()
    return made.id


def correct_recording(session: Session, recording: Recording, new_game: Game | None, by: str, *, now: datetime) -> None:
    """Keep what is said of a recording now: its game, angle, who may see it. Raises NotFound, or BadInput as above."""
    _refuse_unknown(recording.game, _games(session, new_game))
    describe_recording(session, recording)
    said = recording.model_dump(mode="json", exclude={"id", "file"})
    audit(session, now, by, "correct", "recording", recording.id, **said)


def house_of(database: Database) -> House:
    """The size and rate that recordings of the league are brought to."""
    with database.read() as session:
        return load_league(session).about.house


def discard_recording(session: Session, recording_id: str, by: str, *, now: datetime) -> None:
    """Forget a recording that could not be used.

    Raises NotFound; Conflict while it is in work, once it is ready, or while clips are marked on it.
    """
    facts = load_recording(session, recording_id)
    job = jobs_by_key(session, [preparation_key(recording_id)]).get(preparation_key(recording_id))
    if job is not None and job.state in OPEN:
        raise Conflict("This recording is still being prepared. Cancel that first.")
    if count_clips_on(session).get(recording_id):
        raise Conflict("Clips are marked on this recording, and they would be left without it.")
    remove_recording(session, recording_id)
    audit(session, now, by, "remove", "recording", recording_id, file=facts.recording.file)


def prepare_recording(work: Work) -> None:
    """The job `prepare`: look the spooled file over, prepare it, keep what was found or why it cannot be used."""
    recording_id = str(work.args["recording"])
    with work.database.read() as session:
        facts, house = load_recording(session, recording_id), load_league(session).about.house
    spooled = work.library.spool / recording_id
    if facts.state in (RecordingState.WAITING, RecordingState.PREPARING):
        work.tell("Reading the file", 0.0)
        work.database.change(set_recording_state, recording_id, RecordingState.PREPARING)
        _look_over(work, facts, house)
    spooled.unlink(missing_ok=True)


def _look_over(work: Work, facts: RecordingFacts, house: House) -> None:
    spooled = work.library.spool / facts.id

    def tell(share: float) -> None:
        work.tell("Preparing picture and sound" if share else "Reading the file", share)

    try:
        taken = take_in(spooled, facts.recording.file, house, work.library, tell)
    except RecordingRefused as refusal:
        work.database.change(refuse_recording, facts.id, refusal.reason, now=work.clock())
    else:
        work.tell("Drawing its strip", 0.99)
        glanced(taken.prepared, work.library)
        size = bytes_of(taken.sha256, taken.prepared.digest, work.library)
        work.database.change(accept_recording, facts.id, taken, size, now=work.clock())


def glanced(prepared: Prepared, library: Library) -> None:
    """Make the strip of a prepared recording; without one it can be used all the same, so a failure is only noted.

    Raises RenderFailed when it was killed: the next try makes it.
    """
    try:
        overview(prepared, library)
    except RenderFailed as failure:
        if not failure.permanent:
            raise
        log.warning("no strip of %s: %s", prepared.digest, failure)


def accept_recording(session: Session, recording_id: str, taken: TakenIn, size: int, *, now: datetime) -> None:
    """A recording is ready, unless another one came from the same bytes: then this one is refused, and says so.

    What was marked meanwhile stays, on the other one where there is one.
    """
    earlier = find_by_original(session, taken.sha256)
    if earlier is not None and earlier.id != recording_id:
        move_marks(session, recording_id, earlier.id, now=now)
        refuse_recording(session, recording_id, _same_as(session, earlier), now=now)
        return
    set_prepared(session, recording_id, taken.sha256, taken.prepared, size, now)
    settle_marks(session, recording_id, taken.prepared, now=now)
    audit(session, now, "system", "prepare", "recording", recording_id, frames=taken.prepared.frames)


def refuse_recording(session: Session, recording_id: str, reason: str, *, now: datetime) -> None:
    """A recording cannot be used, and why."""
    set_recording_state(session, recording_id, RecordingState.REFUSED, reason)
    audit(session, now, "system", "refuse", "recording", recording_id, reason=reason)


def _same_as(session: Session, earlier: RecordingFacts) -> str:
    titles = {game.id: game.title for game in list_games(session)}
    game = titles.get(earlier.recording.game or "", "")
    place = f"“{earlier.recording.angle}”" + (f" of {game}" if game else "")
    return f"The same file is here already, as {place}. It was not stored a second time."


def bytes_of(original: str, prepared: str, library: Library) -> int:
    """What a recording takes on the disk, by its digests: the file as it came, the picture, the sound."""
    paths = (library.original(original), library.picture(prepared), library.sound(prepared))
    return sum(path.stat().st_size for path in paths if path.exists())


def clear_spool(session: Session, library: Library, *, now: datetime) -> int:
    """Remove files that no waiting recording has claimed for long; how many."""
    waiting = {facts.id for facts in list_recordings(session) if not facts.is_ready}
    claimed = waiting | {path.stem for path in library.incoming.glob("*.json")}
    unclaimed = [path for path in library.spool.glob("*") if path.name not in claimed]
    old = [path for path in unclaimed if path.stat().st_mtime < (now - UNCLAIMED).timestamp()]
    for path in old:
        path.unlink(missing_ok=True)
    return len(old)


def clear_parts(library: Library, *, now: datetime) -> int:
    """Remove parts of pictures with which nobody has gone on for long; how many files."""
    parts = [path for path in library.root.glob("parts/??/*") if path.suffix != ".part"]
    old = [path for path in parts if path.stat().st_mtime < (now - FORGOTTEN).timestamp()]
    for path in old:
        path.unlink(missing_ok=True)
    return len(old)
