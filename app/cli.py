"""The command line. Everything a page does with files can be done here; `--json` prints one object a line."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from app import __version__
from app.actions import curriculum as curriculum_actions
from app.actions.adopt import adopt_curriculum, spooled, write_out
from app.actions.intake import bytes_of, enter_recording, house_of
from app.actions.league import NEW, found_league
from app.actions.people import first_invite
from app.actions.recording import Received, TakenIn, receive_recording
from app.actions.tape import Built, build_tape
from app.actions.voice import with_voices_kept
from app.adapters.files import Library
from app.adapters.frame import write_frame
from app.adapters.machine import checks
from app.domain.curriculum import Fault
from app.domain.errors import CurriculumError, Misplaced, PennonError, Problem
from app.domain.recording import House
from app.domain.timecode import clock
from app.settings import BadSetting, Settings
from app.store.engine import Database
from app.store.migrate import migrate

app = typer.Typer(
    name="pennon",
    help="For the supervisor of a league's officials: recordings in, lessons and quizzes out.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
curriculum = typer.Typer(help="Text files of a curriculum.", no_args_is_help=True)
recording = typer.Typer(help="Recordings of games.", no_args_is_help=True)
tape = typer.Typer(help="Lesson videos.", no_args_is_help=True)
app.add_typer(curriculum, name="curriculum")
app.add_typer(recording, name="recording")
app.add_typer(tape, name="tape")

AsJson = Annotated[bool, typer.Option("--json", help="One JSON object a line.")]
Folder = Annotated[Path, typer.Argument(help="Folder of the curriculum.")]


def main() -> None:
    """Run a command. A problem is told in words on standard error, exit code 1; a mistyped command has 2."""
    try:
        app()
    except (PennonError, BadSetting) as error:
        _fail(str(error))
    except OSError as error:
        _fail(f"{error.filename or 'The disk'}: {error.strerror or error}. Nothing half-done was left behind.")


def _fail(message: str) -> None:
    print(message, file=sys.stderr)
    raise SystemExit(1)


def _line(value: dict[str, Any]) -> None:
    print(json.dumps(value, ensure_ascii=False), flush=True)


@app.callback(invoke_without_command=True)
def root(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    """Options before any command."""
    if version:
        print(f"pennon {__version__}")
        raise typer.Exit


@curriculum.command("check")
def curriculum_check(
    folder: Folder,
    recordings: Annotated[bool, typer.Option("--recordings", help="Open and measure every recording too.")] = False,
    as_json: AsJson = False,
) -> None:
    """Check the text files of a curriculum: every problem with file and line."""
    try:
        checked = curriculum_actions.check_curriculum(folder, recordings=recordings)
    except CurriculumError as error:
        _problems(error.problems, as_json, "error")
        _summary(folder.name, as_json, errors=len(error.problems))
        raise typer.Exit(1) from None
    _problems(checked.warnings, as_json, "warning")
    _counts(checked, as_json)


@curriculum.command("load")
def curriculum_load(folder: Folder, as_json: AsJson = False) -> None:
    """Check a curriculum and take it into the league: what is new is added, what people have made is left alone."""
    checked = curriculum_actions.check_curriculum(folder)
    settings, loaded = Settings.from_env(), checked.loaded
    library = Library(settings.data)
    with _league(settings) as database:
        value, sizes = with_voices_kept(loaded, library), spooled(loaded, library)
        database.change(adopt_curriculum, value, sizes, "system", now=datetime.now(UTC))
    _problems(checked.warnings, as_json, "warning")
    _counts(checked, as_json)


@curriculum.command("dump")
def curriculum_dump(
    folder: Annotated[Path, typer.Argument(help="New folder to write to.")], as_json: AsJson = False
) -> None:
    """Write the league's curriculum as text files, its recordings beside them; loading them again gives the same."""
    settings = Settings.from_env()
    with _league(settings) as database, database.read() as session:
        for path in write_out(session, Library(settings.data), folder, datetime.now(UTC).date()):
            _line({"file": str(path)}) if as_json else print(path)


@contextmanager
def _league(settings: Settings) -> Iterator[Database]:
    """The league's database, made where there is none, open for one command."""
    settings.data.mkdir(parents=True, exist_ok=True)
    migrate(settings.database_url)
    database = Database(settings.database_url)
    try:
        database.change(found_league, NEW, is_demo=False, now=datetime.now(UTC))
        yield database
    finally:
        database.close()


def _problems(problems: Iterable[Problem], as_json: bool, level: str) -> None:
    for problem in problems:
        if as_json:
            _line({"level": level, **asdict(problem)})
        else:
            print(f"{level}: {problem}", file=sys.stderr if level == "error" else sys.stdout)


def _counts(checked: curriculum_actions.Checked, as_json: bool) -> None:
    value = checked.loaded.curriculum
    kinds = ("cards", "recordings", "clips", "lessons", "quiz_plans", "policies", "crews")
    counts = {kind: len(getattr(value, kind)) for kind in kinds}
    _summary(value.about.id, as_json, errors=0, warnings=len(checked.warnings), **counts)


def _summary(name: str, as_json: bool, *, errors: int, **counts: int) -> None:
    if as_json:
        _line({"curriculum": name, "ok": errors == 0, "errors": errors, **counts})
    elif errors:
        print(f"{name}: {errors} to mend; nothing was loaded", file=sys.stderr)
    else:
        print(f"{name}: good. " + ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in counts.items()))


@recording.command("add")
def recording_add(
    files: Annotated[list[Path], typer.Argument(help="Files of any phone, camera or capture card.")],
    game: Annotated[str, typer.Option("--game", help="Of which game: its title. A title not known yet is new.")] = "",
    angle: Annotated[str, typer.Option("--angle", help="From where it was filmed: high, goal line.")] = "",
    as_json: AsJson = False,
) -> None:
    """Receive and prepare recordings; with a game or an angle, the league has them too. Exit code 1: one was refused.

    Without the two they are only looked over and prepared, in the library of the data folder.
    """
    settings = Settings.from_env()
    if game or angle:
        with _league(settings) as database:
            refused = _received(files, settings, as_json, database, game, angle)
    else:
        refused = _received(files, settings, as_json)
    raise typer.Exit(1 if refused else 0)


def _received(
    files: Iterable[Path],
    settings: Settings,
    as_json: bool,
    database: Database | None = None,
    game: str = "",
    angle: str = "",
) -> int:
    """Take files in one by one and print what became of each; how many were refused."""
    library, house, enter = Library(settings.data), House.from_text(settings.house), None
    if database is not None:
        house, enter = house_of(database), partial(_entered, database, library, angle or "unnamed angle", game)
    refused = 0
    for file in files:
        received = receive_recording(file, house, library, enter)
        refused += received.verdict == "rejected"
        print(received.model_dump_json() if as_json else _told(received), flush=True)
    return refused


def _entered(database: Database, library: Library, angle: str, game: str, taken: TakenIn, name: str) -> None:
    size = bytes_of(taken.sha256, taken.prepared.digest, library)
    database.change(enter_recording, taken, name, angle, game, size, "system", now=datetime.now(UTC))


def _told(received: Received) -> str:
    """A recording in a few lines: what it is, what to know of it."""
    if received.source is None:
        return f"{received.file}: not used. {received.reason}"
    source = received.source
    first = f"{received.file}: {source.width}x{source.height}, {source.frames} frames, {source.duration_s:.1f} s"
    again = [f"  the same bytes as {received.duplicate_of}"] if received.duplicate_of else []
    return "\n".join([first, *again, *(f"  {note}" for note in received.notes)])


@app.command("frame")
def frame(
    file: Annotated[Path, typer.Argument(help="A recording, prepared or not.")],
    at: Annotated[int, typer.Option("--at", help="Which frame, from 0.")],
    out: Annotated[Path, typer.Option("--out", help="PNG to write.")],
) -> None:
    """Write one exact frame as the pages show it: upright, square pixels."""
    write_frame(file, at, out)


@tape.command("build")
def tape_build(
    folder: Folder,
    lesson: Annotated[str, typer.Argument(help="Id of the lesson.")],
    out: Annotated[Path, typer.Option("--out", help="MP4 to write; captions and poster stand beside it.")],
    as_json: AsJson = False,
) -> None:
    """Cut and stitch one lesson straight from a curriculum folder."""
    checked = curriculum_actions.check_curriculum(folder)
    loaded, library = checked.loaded, Library(Settings.from_env().data)
    try:
        built = build_tape(loaded.curriculum, lesson, loaded.media, library, out, None if as_json else _working)
    except Misplaced as error:
        raise CurriculumError((loaded.problem(Fault(error.path, str(error))),)) from error
    if as_json:
        _line(_tape_line(built))
    else:
        length = clock(built.frames, built.rate)
        print(f"{built.files.tape}: {length}, {built.made} pieces made, {built.reused} used again")
        print("\n".join(f"  {note}" for note in built.notes), end="\n" if built.notes else "")


def _working(doing: str, share: float) -> None:
    if sys.stderr.isatty():
        print(f"\r{doing} {share:4.0%}", end="\n" if share >= 1 else "", file=sys.stderr, flush=True)


def _tape_line(built: Built) -> dict[str, Any]:
    return {
        "lesson": built.lesson,
        "out": str(built.files.tape),
        "captions": str(built.files.captions),
        "poster": str(built.files.poster),
        "frames": built.frames,
        "duration_s": round(built.duration_s, 6),
        "rate": str(built.rate),
        "segments": {"made": built.made, "reused": built.reused},
        "chapters": [asdict(chapter) for chapter in built.chapters],
        "bytes": built.bytes,
        "notes": list(built.notes),
    }


@app.command("serve")
def serve() -> None:
    """Start the server, with a worker in it unless PENNON_WORKER says no. Ctrl+C stops it gracefully."""
    # Pages and server take half a second to load, which the other commands need not wait for.
    from app.main import create_app, listening, server_of

    settings = Settings.from_env()
    address = listening(settings)
    with _league(settings) as database:
        secret = first_invite(database, datetime.now(UTC))
    print(f"Pennon listens at {settings.url}", flush=True)
    if secret is not None:
        print(
            f"Nobody supervises this league yet. Whoever does comes in here, once: {settings.url}/invite/{secret}",
            flush=True,
        )
    server_of(create_app(settings)).run([address])


@app.command("demo")
def demo() -> None:
    """Serve the demo league from PENNON_DATA: a new folder, or one that a demo was in before."""
    from app.demo import serve_demo

    serve_demo(Settings.from_env(), lambda line: print(line, flush=True))


@app.command("worker")
def worker() -> None:
    """Do the long work of a league in a process of its own, on as many machines as share its data. Ctrl+C stops it."""
    from app.worker import work_alone

    settings = Settings.from_env()
    print(f"Working on {settings.data}", flush=True)
    work_alone(settings.data, settings.database_url)


@app.command("doctor")
def doctor(as_json: AsJson = False) -> None:
    """Look whether this machine has what the work needs, and say what to do. Exit code 1 when something is missing."""
    missing = 0
    for check in checks(Settings.from_env().data):
        missing += not check.ok
        if as_json:
            _line(asdict(check))
        else:
            print(f"{'good' if check.ok else 'TO DO'}  {check.name}: {check.found}")
            if check.advice:
                print(f"       {check.advice}")
    raise typer.Exit(1 if missing else 0)


if __name__ == "__main__":
    main()
