"""From the truth of the sample plays to the curricula: `python -m sample_clips.simulator.keys`.

Recordings and clips of both curricula are written from the truth files, so that no key is ever typed by hand: what a
card's element shows, and when, was measured from the scene that the picture was drawn from.
"""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import tomli_w

from app.adapters.curricula import table_of
from app.domain.clip import Clip
from app.domain.recording import Game, Recording
from sample_clips.simulator.truth import YES, Truth, read, read_archive

HERE = Path(__file__).resolve().parent.parent
CURRICULA = HERE.parent / "curricula"
RECORDINGS = HERE / "recordings"
ARCHIVE = HERE / "archive"

TOPICS = {
    "offside": "Offside",
    "ball-out": "Ball out",
    "goal": "Goal",
    "keeper": "Keeper at a penalty",
    "shot-touched": "Shot touched",
}
HEADER = "# Written by sample_clips/simulator/keys.py from the truth of the plays: change the plays, not this file.\n\n"
PAUSE_S = 10
CONSENT = "Drawn by the project's own simulator: nobody real is shown."


@dataclass(frozen=True)
class Home:
    """Where the plays of some topics belong: the curriculum, its angles, its games and the first day of play."""

    folder: str
    topics: tuple[str, ...]
    angles: Mapping[str, str]
    games: tuple[str, ...]
    first_day: date


HOMES = (
    Home(
        "saltmarsh-coast",
        ("offside", "ball-out", "goal", "keeper"),
        {"line": "Assistant's place on the line", "high": "High camera"},
        (
            "Eelport Rovers v Marram Town",
            "Samphire v Cockle Bay",
            "Brent Haven v Sandling",
            "Marram Town v Samphire",
            "Cockle Bay v Brent Haven",
            "Sandling v Eelport Rovers",
        ),
        date(2026, 8, 8),
    ),
    Home(
        "dunes-court",
        ("shot-touched",),
        {"line": "Trail official's place", "high": "High camera"},
        (
            "Marram Terns v Cockle Bay Herons",
            "Samphire Sanderlings v Eelport Curlews",
            "Sandling Plovers v Marram Terns",
            "Eelport Curlews v Brent Haven Knots",
            "Cockle Bay Herons v Sandling Plovers",
            "Brent Haven Knots v Samphire Sanderlings",
        ),
        date(2026, 10, 3),
    ),
)


def games_of(home: Home) -> list[Game]:
    """One game a week, called g1, g2 and so on in the truth files."""
    return [
        Game(id=f"g{n}", title=title, on=home.first_day + timedelta(weeks=n - 1))
        for n, title in enumerate(home.games, 1)
    ]


def begins(truths: Iterable[Truth]) -> dict[str, int]:
    """Play -> the frame of its game's clock at which its recordings begin: in its minute, after the one before."""
    found: dict[str, int] = {}
    free: dict[str, int] = {}
    for truth in sorted(truths, key=lambda each: (each.game, each.situation.minute, each.name)):
        found[truth.name] = max(truth.situation.minute * 60 * truth.frame_rate, free.get(truth.game, 0))
        free[truth.game] = found[truth.name] + truth.frames + PAUSE_S * truth.frame_rate
    return found


def recordings_of(truth: Truth, home: Home, begin: int) -> list[Recording]:
    """One recording per view; all views of a play begin at the same instant, `begin` on the game's clock."""
    return [
        Recording(
            id=f"{truth.name}-{view}",
            file=f"{truth.name}-{view}.mp4",
            angle=home.angles[view],
            game=truth.game,
            offset=begin,
            consent=CONSENT,
            download=True,
        )
        for view in truth.views
    ]


def clip_of(truth: Truth, *, archived: bool = False) -> Clip:
    """The clip of a play, keyed as measured. An archived play has no recording: its views name what was never kept."""
    number = int(re.sub(r"\D", "", truth.name))
    views = truth.views or ("line",)
    return Clip.model_validate(
        {
            "id": truth.name,
            "title": f"{TOPICS[truth.topic]} {number}" + (", archived" if archived else ""),
            "game": truth.game,
            "views": [{"recording": f"{truth.name}-{view}", "in": 0, "out": truth.frames} for view in views],
            "keys": [_key(truth)],
            "called": {
                "ruling": _ruling(truth.called),
                "positions": [place.replace(" ", "-") for place in truth.positions],
            },
            "reveal": truth.instants.get("reveal"),
            "marks": _marks(truth),
            "situation": {
                "score": truth.situation.score,
                "minute": str(truth.situation.minute),
                "phase": truth.situation.phase,
            },
            "mechanics": {
                "good": [each.note for each in truth.mechanics if each.kind == "good"],
                "to_fix": [each.note for each in truth.mechanics if each.kind == "to fix"],
            },
            "teaching": truth.teaching_point,
            "must_get": truth.must_get,
            "looks_like": truth.looks_like,
        }
    )


def _slug(words: str) -> str:
    return "-".join(re.findall(r"[a-z0-9]+", words.lower()))


def _ruling(word: str) -> str:
    return "flag" if word in YES else "no flag"


def _key(truth: Truth) -> dict[str, Any]:
    return {
        "topic": truth.topic,
        "ruling": _ruling(truth.ruling),
        "decisive": truth.instants["decisive"],
        "variant": _slug(truth.variant) if truth.variant else None,
        "second_answer": truth.second_answer,
        "findings": [
            {
                "of": name,
                "shows": finding.verdict,
                "frame": min(finding.frame, truth.frames - 1),
                "view": f"{truth.name}-{finding.view}",
                "why": finding.why,
            }
            for name, finding in truth.findings.items()
        ],
    }


def _marks(truth: Truth) -> list[dict[str, Any]]:
    """Instants that the card or the play names, besides the decisive one and the reveal."""
    others = {name: frame for name, frame in truth.instants.items() if name not in ("decisive", "reveal", "involved")}
    if "no-goal" in truth.findings:  # the keeper's card asks what came of the kick
        others["outcome"] = min(truth.findings["no-goal"].frame, truth.frames - 1)
    return [{"id": _slug(name), "frame": frame} for name, frame in others.items()]


def write_keys(truths: Iterable[Truth], home: Home, curricula: Path = CURRICULA) -> list[Path]:
    """Write `recordings.toml` and one file of clips per topic into the curriculum; returns the files."""
    mine = [truth for truth in truths if truth.topic in home.topics]
    clock = begins(mine)
    recordings = [recording for truth in mine for recording in recordings_of(truth, home, clock[truth.name])]
    tables: dict[str, dict[str, Any]] = {
        "recordings.toml": {
            "games": [table_of(game) for game in games_of(home)],
            "recordings": [table_of(recording) for recording in recordings],
        }
    }
    for topic in home.topics:
        clips = [table_of(clip_of(truth)) for truth in mine if truth.topic == topic]
        tables[f"clips/{topic}.toml"] = {"clips": clips}
    return [_write(curricula / home.folder / name, data) for name, data in tables.items()]


def _write(path: Path, data: dict[str, Any]) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(HEADER + tomli_w.dumps(data), encoding="utf-8")
    return path


def drawn_truths(folder: Path = RECORDINGS) -> list[Truth]:
    """The truth of every drawn play, by name."""
    return [read(path) for path in sorted(folder.glob("*.json.gz"))]


def write_archived_clips(archive: Path = ARCHIVE) -> list[Path]:
    """The archived plays as clips, for those who know nothing of truths: one JSON object a line, packed by gzip."""
    written = []
    for path in sorted(archive.glob("*.jsonl.gz")):
        clips = [clip_of(truth, archived=True) for truth in read_archive(path)]
        lines = [clip.model_dump_json(by_alias=True, exclude_defaults=True, exclude_none=True) for clip in clips]
        target = archive / "clips" / path.name
        target.parent.mkdir(exist_ok=True)
        target.write_bytes(gzip.compress(("\n".join(lines) + "\n").encode(), mtime=0))
        written.append(target)
    return written


def main() -> None:
    """Write the recordings and clips of both curricula, and the archived plays as clips."""
    truths = drawn_truths()
    for path in write_archived_clips():
        print(path.relative_to(HERE.parent))
    for home in HOMES:
        for path in write_keys(truths, home):
            print(path.relative_to(HERE.parent))


if __name__ == "__main__":
    main()
