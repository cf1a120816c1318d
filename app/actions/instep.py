"""The recordings of a game are put in step: by their sound where that can be told, by hand to the frame."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session

from app.actions.job import Work, order_job
from app.adapters.hearing import heard
from app.domain.errors import NotFound
from app.measure.alignment import Alignment, Refusal, Sound, compared
from app.store.content import list_games
from app.store.league import audit
from app.store.recordings import describe_recording, list_recordings, load_recording, note_step

MOST_LEADERS = 12
"""Recordings with which each other one of a game is compared; hours of sound take some seconds and 115 MB each."""

SOUND_M_S = 343
"""Metres that sound travels in a second."""

LED = "Others are in step with this one."
REFUSED = {
    Refusal.SILENT: "It has no sound.",
    Refusal.SHORT: "It has less than three seconds in common with any other.",
    Refusal.UNLIKE: "No other sounds like it: another moment, a commentary over it, or too much noise.",
}


def step_key(game_id: str) -> str:
    """The key of the job that puts a game's recordings in step."""
    return f"instep:{game_id}"


def order_in_step(session: Session, game_id: str, by: str, *, now: datetime) -> str:
    """Order that the recordings of a game are put in step by their sound; the job's id. Raises NotFound."""
    game = next((game for game in list_games(session) if game.id == game_id), None)
    if game is None:
        raise NotFound("There is no such game.")
    audit(session, now, by, "align", "game", game_id)
    return order_job(
        session, "instep", step_key(game_id), {"game": game_id, "by": by}, f"Sound of {game.title}", by, now=now
    )


def set_by_hand(session: Session, recording_id: str, offset: int, by: str, *, now: datetime) -> None:
    """Give a recording its offset to the game's clock, in frames. Raises NotFound."""
    facts = load_recording(session, recording_id)
    describe_recording(session, facts.recording.model_copy(update={"offset": offset}))
    note_step(session, recording_id, "Put in step by hand.")
    audit(session, now, by, "align", "recording", recording_id, old=facts.recording.offset, new=offset)


def put_in_step(work: Work) -> None:
    """The job `instep`: compare the sound of a game's recordings, keep what can be told, say what cannot.

    Each is compared with those before it that follow no other, so sound is held of these alone.
    """
    game_id, by = str(work.args["game"]), str(work.args["by"])
    with work.database.read() as session:
        ready = [each for each in list_recordings(session) if each.recording.game == game_id and each.is_ready]
    leaders: list[tuple[str, Sound]] = []
    alone: dict[str, Refusal] = {}
    for done, facts in enumerate(ready):
        work.tell(f"Listening to {facts.recording.angle}", done / len(ready))
        assert facts.prepared is not None
        sound = heard(facts.prepared.digest, work.library)
        leader, found = _compared(sound, leaders)
        if found.why is None:
            work.database.change(_keep, facts.id, leader, found, by, now=work.clock())
            alone.pop(leader, None)
            continue
        alone[facts.id] = found.why
        if found.why is not Refusal.SILENT and len(leaders) < MOST_LEADERS:
            leaders.append((facts.id, sound))
    for recording_id, why in alone.items():
        work.database.change(note_step, recording_id, f"Cannot be put in step by sound. {REFUSED[why]}")


def _compared(sound: Sound, leaders: list[tuple[str, Sound]]) -> tuple[str, Alignment]:
    """Id of the first that heard the same, and by how much this is behind it; else why there is none."""
    if not sound.any():
        return "", Alignment(None, Refusal.SILENT)
    refused = Alignment(None, Refusal.UNLIKE)
    for leader, led in leaders:
        found = compared(led, sound)
        if found.why is None:
            return leader, found
        refused = found
    return "", refused


def _keep(session: Session, recording_id: str, leader_id: str, found: Alignment, by: str, *, now: datetime) -> None:
    facts, leader = load_recording(session, recording_id), load_recording(session, leader_id)
    assert found.seconds is not None
    assert facts.prepared is not None
    rate = float(facts.prepared.house.rate.fraction)
    frames = round(found.seconds * rate)
    offset = leader.recording.offset + frames
    note_step(session, leader_id, LED)
    describe_recording(session, facts.recording.model_copy(update={"offset": offset}))
    note_step(
        session,
        recording_id,
        f"In step with “{leader.recording.angle}” by sound, heard together for {found.common_s:.0f} s. "
        f"Sound needs a frame for every {SOUND_M_S / rate:.0f} m: look at a moment that both show, and nudge it.",
    )
    audit(session, now, by, "align", "recording", recording_id, old=facts.recording.offset, new=offset)
