"""What is stored. Tables hold rows and check nothing; `store`'s modules turn rows into domain values and back.

Content of a curriculum (cards, clips, lessons ...) is kept as its own JSON with the columns that are searched beside
it. Facts (answers, reasons, edits, audit) are appended and never changed. People are referred to by a random id.
"""

from app.store.tables.base import metadata
from app.store.tables.content import (
    CardRow,
    ClipEditRow,
    ClipKeyRow,
    ClipRow,
    ClipViewRow,
    EditionRow,
    ExceptionRow,
    GameRow,
    LessonRow,
    PlanRow,
    PolicyRow,
    RecordingRow,
    WatchRow,
)
from app.store.tables.jobs import JobRow
from app.store.tables.people import (
    AuditRow,
    CrewRow,
    DeviceRow,
    InviteRow,
    LeagueRow,
    MembershipRow,
    PasswordRow,
    PersonRow,
    PositionRow,
)
from app.store.tables.quiz import (
    AnswerRow,
    AssignmentRow,
    DisagreementRow,
    QuestionRow,
    QuizItemRow,
    QuizRow,
    ReasonRow,
    SignOffRow,
    SittingRow,
)

__all__ = [
    "AnswerRow",
    "AssignmentRow",
    "AuditRow",
    "CardRow",
    "ClipEditRow",
    "ClipKeyRow",
    "ClipRow",
    "ClipViewRow",
    "CrewRow",
    "DeviceRow",
    "DisagreementRow",
    "EditionRow",
    "ExceptionRow",
    "GameRow",
    "InviteRow",
    "JobRow",
    "LeagueRow",
    "LessonRow",
    "MembershipRow",
    "PasswordRow",
    "PersonRow",
    "PlanRow",
    "PolicyRow",
    "PositionRow",
    "QuestionRow",
    "QuizItemRow",
    "QuizRow",
    "ReasonRow",
    "RecordingRow",
    "SignOffRow",
    "SittingRow",
    "WatchRow",
    "metadata",
]
