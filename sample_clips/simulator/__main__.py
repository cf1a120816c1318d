"""Draw the sample plays and write their truth: `python -m sample_clips.simulator draw|truth|archive|list`.

list [NAME ...]            the plays: ruling, length, views, teaching point
draw [NAME ...]            recordings of all views of the plays, and the truth beside them
truth [NAME ...]           the truth alone
archive [--plays 72]       archived plays without a picture, one JSON-lines file per topic
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from pathlib import Path

from sample_clips.simulator.plays import ARCHIVED, PLAYS
from sample_clips.simulator.truth import Play, grounded, write, write_archive

HERE = Path(__file__).resolve().parent.parent


def main(words: list[str] | None = None) -> None:
    """Run one command; unknown names of plays end it with a message."""
    asked = _arguments().parse_args(words)
    COMMANDS[asked.command](asked)


def _arguments() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m sample_clips.simulator", description=__doc__.splitlines()[0])
    commands = parser.add_subparsers(dest="command", required=True)
    for name in ("draw", "truth"):
        command = commands.add_parser(name)
        command.add_argument("names", nargs="*", metavar="NAME")
        command.add_argument("--into", type=Path, default=HERE / "recordings")
    archive = commands.add_parser("archive")
    archive.add_argument("--plays", type=int, default=72)
    archive.add_argument("--into", type=Path, default=HERE / "archive")
    commands.add_parser("list").add_argument("names", nargs="*", metavar="NAME")
    return parser


def _chosen(names: list[str]) -> Iterator[Play]:
    unknown = sorted(set(names) - set(PLAYS))
    if unknown:
        raise SystemExit(f"No such play: {', '.join(unknown)}. Try the command `list`.")
    for name in names or PLAYS:
        yield PLAYS[name]()


def draw(asked: argparse.Namespace) -> None:
    """Recordings of every view of the chosen plays, and their truth."""
    from sample_clips.simulator import recording  # needs the compiled drawing, which `list` and `truth` do not

    for play in _chosen(asked.names):
        for view in play.truth.views:
            path = asked.into / f"{play.truth.name}-{view}.mp4"
            path.parent.mkdir(parents=True, exist_ok=True)
            recording.write(play.scene, view, path)
            print(path)
        print(write(grounded(play), asked.into))


def truth(asked: argparse.Namespace) -> None:
    """The truth of the chosen plays."""
    for play in _chosen(asked.names):
        print(write(grounded(play), asked.into))


def archive(asked: argparse.Namespace) -> None:
    """Archived plays of every topic, seeds 0, 1, 2, ..."""
    for topic, make in ARCHIVED.items():
        print(write_archive((make(seed).truth for seed in range(asked.plays)), asked.into / f"{topic}.jsonl.gz"))


def show_list(asked: argparse.Namespace) -> None:
    """One line a play."""
    for play in _chosen(asked.names):
        told = play.truth
        seconds = told.frames / told.frame_rate
        print(f"{told.name:<18} {told.ruling:<8} {seconds:4.1f} s  {'+'.join(told.views):<10} {told.teaching_point}")


COMMANDS: dict[str, Callable[[argparse.Namespace], None]] = {
    "draw": draw,
    "truth": truth,
    "archive": archive,
    "list": show_list,
}

if __name__ == "__main__":
    main()
