"""A quiz: what it is to ask, the equal forms that are drawn for it, who gets which, and in which order.

plan   what a supervisor asks for
forms  clips for one form or several equal ones, by the solver; or in words what is missing
deal   which form somebody gets
order  the order of the looks, and which of them ask about everything
"""

from app.domain.quiz.deal import Taken, dealt
from app.domain.quiz.forms import SPARES, Candidate, Drawn, Wording, by_difficulty, drawn, letter, shortages, takes_long
from app.domain.quiz.order import asks_all, order_of
from app.domain.quiz.plan import MOST_SECONDS, USUAL_SHARE, Purpose, QuizPlan

__all__ = [
    "MOST_SECONDS",
    "SPARES",
    "USUAL_SHARE",
    "Candidate",
    "Drawn",
    "Purpose",
    "QuizPlan",
    "Taken",
    "Wording",
    "asks_all",
    "by_difficulty",
    "dealt",
    "drawn",
    "letter",
    "order_of",
    "shortages",
    "takes_long",
]
