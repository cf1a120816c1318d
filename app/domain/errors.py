"""Everything that can go wrong and be told to a person.

PennonError                 says what happened, what is safe, what to do
|- BadInput                 the input is at fault; trying again unchanged does not help
|  |- Misplaced             something in a curriculum, by its path: whoever read the files knows the line
|  |- CurriculumError       text files: every problem with file, line and what was expected
|  |- RecordingRefused      a file that cannot become a recording, and the true reason
|  `- NotFound              a name that means nothing here
|- Conflict                 the state is no longer what the change was made for
|- Busy                     the server cannot take it now; trying again helps
|- RenderFailed             a tape or preparation broke off; `permanent` decides about a retry
|- Waits                    what the work needs is still being made; it goes on by itself
`- Unready                  the machine lacks something (ffmpeg, disk, font): what to install or free
"""

from dataclasses import dataclass


class PennonError(Exception):
    """Base of all errors meant for people. `str(error)` is a whole sentence."""


class BadInput(PennonError):
    """What was given cannot be used as it is."""


class Misplaced(BadInput):
    """Something in a curriculum that cannot be used. `path` leads to it: ("lessons", "two-instants", "steps", 3)."""

    def __init__(self, path: tuple[str | int, ...], what: str) -> None:
        self.path = path
        super().__init__(what)


@dataclass(frozen=True)
class Problem:
    """One fault in a text file: where, what is wrong, what would be right."""

    file: str
    line: int | None
    what: str
    expected: str = ""

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{place}: {self.what}" + (f" (expected {self.expected})" if self.expected else "")


class CurriculumError(BadInput):
    """Text files of a curriculum that cannot be read; carries every problem found, in file order."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(problem) for problem in problems))


class RecordingRefused(BadInput):
    """A file that is not a usable recording. `reason` is for the person who brought it."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


class NotFound(BadInput):
    """A name that nothing here has."""


class Conflict(PennonError):
    """Something was changed meanwhile, or has been done already; nothing was changed now."""


class Busy(PennonError):
    """Too much at once; nothing was changed, and trying again in a moment helps."""


class RenderFailed(PennonError):
    """Media work that broke off. `permanent`: the same work would fail again (do not retry)."""

    def __init__(self, message: str, *, permanent: bool) -> None:
        self.permanent = permanent
        super().__init__(message)


class Waits(PennonError):
    """Work that cannot begin, because other work is not done yet. It is no failure, and is taken up again."""


class Unready(PennonError):
    """The machine lacks something; the message says what to do about it."""
