"""Who may request what: the one table, written by hand. A route that is not in it is refused, and a test names it.

Rows give the roles that may. What may be seen of an object (an official's own results, a chief's own crew) is decided
in the page that loads it, and answers 404 to everybody else, so that nobody learns what exists.
"""

from __future__ import annotations

from app.domain.people import Role

S, C, E, H, O, G = Role.SUPERVISOR, Role.COORDINATOR, Role.EVALUATOR, Role.CHIEF, Role.OFFICIAL, Role.GUEST  # noqa: E741

ALL = frozenset(Role)
SIGNED_IN = ALL - {G}
STAFF = frozenset({S, C})
DESK = frozenset({S})
FIELD = frozenset({H, O})

TABLE: dict[tuple[str, str], frozenset[Role]] = {
    ("GET", "/healthz"): ALL,
    ("GET", "/"): ALL,
    # signing in
    ("GET", "/sign-in"): ALL,
    ("POST", "/sign-in"): ALL,
    ("GET", "/invite/{secret}"): ALL,
    ("POST", "/invite/{secret}"): ALL,
    ("GET", "/me"): SIGNED_IN,
    ("POST", "/me/devices/{device}/sign-out"): SIGNED_IN,
    # long work
    ("GET", "/jobs"): DESK,
    ("GET", "/jobs/state"): DESK,
    ("POST", "/jobs/{job_id}/cancel"): DESK,
    ("POST", "/jobs/{job_id}/retry"): DESK,
    # recordings
    ("GET", "/recordings"): DESK,
    ("GET", "/recordings/new"): DESK,
    ("POST", "/recordings"): DESK,
    ("GET", "/recordings/{recording_id}"): DESK,
    ("GET", "/recordings/{recording_id}/edit"): DESK,
    ("GET", "/recordings/{recording_id}/original"): DESK,
    ("HEAD", "/recordings/{recording_id}/original"): DESK,
    ("POST", "/recordings/{recording_id}"): DESK,
    ("POST", "/recordings/{recording_id}/remove"): DESK,
    ("GET", "/storage"): DESK,
    ("POST", "/storage"): DESK,
    ("OPTIONS", "/uploads"): DESK,
    ("POST", "/uploads"): DESK,
    ("HEAD", "/uploads/{upload_id}"): DESK,
    ("PATCH", "/uploads/{upload_id}"): DESK,
    ("DELETE", "/uploads/{upload_id}"): DESK,
    ("GET", "/games/{game_id}"): DESK,
    ("POST", "/games/{game_id}/in-step"): DESK,
    ("POST", "/games/{game_id}/recordings/{recording_id}"): DESK,
    # media: an address works on the device it was made for, and nowhere else
    ("GET", "/media/{token}"): SIGNED_IN,
    ("HEAD", "/media/{token}"): SIGNED_IN,
    # readiness
    ("GET", "/readiness"): STAFF,
    ("GET", "/readiness.csv"): STAFF,
    ("GET", "/readiness/crews/{crew_id}"): STAFF,
    ("GET", "/readiness/people/{person_id}"): STAFF,
    ("POST", "/readiness/people/{person_id}/sign-off"): DESK,
    ("GET", "/crew"): FIELD,
    # clips
    ("GET", "/clips"): DESK,
    ("GET", "/clips/new"): DESK,
    ("POST", "/clips"): DESK,
    ("GET", "/clips/{clip_id}"): DESK,
    ("POST", "/clips/{clip_id}"): DESK,
    ("GET", "/clips/{clip_id}/quiz"): DESK,
    ("POST", "/clips/{clip_id}/hidden"): DESK,
    ("POST", "/clips/{clip_id}/hidden/{n}/show"): DESK,
    # people and crews
    ("GET", "/people"): STAFF,
    ("GET", "/people/new"): DESK,
    ("POST", "/people"): DESK,
    ("GET", "/people/import"): DESK,
    ("POST", "/people/import/preview"): DESK,
    ("POST", "/people/import"): DESK,
    ("GET", "/people/crews/new"): DESK,
    ("POST", "/people/crews"): DESK,
    ("GET", "/people/crews/{crew_id}"): STAFF,
    ("POST", "/people/crews/{crew_id}"): DESK,
    ("GET", "/people/{person_id}"): STAFF,
    ("POST", "/people/{person_id}"): DESK,
    ("POST", "/people/{person_id}/move"): DESK,
    ("GET", "/people/{person_id}/extra-time"): STAFF,
    ("POST", "/people/{person_id}/extra-time"): STAFF,
    ("POST", "/people/{person_id}/invite"): DESK,
    ("POST", "/people/{person_id}/sign-out"): DESK,
    # quizzes
    ("GET", "/quizzes"): STAFF,
    ("GET", "/quizzes/new"): DESK,
    ("POST", "/quizzes/new"): DESK,
    ("GET", "/quizzes/plans"): DESK,
    ("GET", "/quizzes/plans/new"): DESK,
    ("POST", "/quizzes/plans/new"): DESK,
    ("GET", "/quizzes/plans/{plan_id}"): DESK,
    ("POST", "/quizzes/plans/{plan_id}"): DESK,
    ("GET", "/quizzes/quiet-hours"): DESK,
    ("POST", "/quizzes/quiet-hours"): DESK,
    ("GET", "/quizzes/clearance"): DESK,
    ("POST", "/quizzes/clearance"): DESK,
    ("GET", "/quizzes/{quiz_id}/clearance"): STAFF,
    ("GET", "/quizzes/{quiz_id}"): STAFF,
    ("POST", "/quizzes/{quiz_id}/assign"): STAFF,
    # checks: what is due, taking one, its looks
    ("GET", "/due"): FIELD,
    ("GET", "/checks/{quiz_id}"): FIELD,
    ("POST", "/checks/{quiz_id}/start"): FIELD,
    ("GET", "/sittings/{sitting_id}"): FIELD,
    ("GET", "/sittings/{sitting_id}/ahead"): FIELD,
    ("POST", "/sittings/{sitting_id}/echo"): FIELD,
    ("POST", "/sittings/{sitting_id}/looks/{n}/open"): FIELD,
    ("POST", "/sittings/{sitting_id}/looks/{n}/answer"): FIELD,
    ("POST", "/sittings/{sitting_id}/looks/{n}/reason"): FIELD,
    ("POST", "/sittings/{sitting_id}/looks/{n}/skip"): FIELD,
    ("POST", "/sittings/{sitting_id}/finish"): FIELD,
    ("GET", "/looks/{asset}"): FIELD,
    ("GET", "/sittings/{sitting_id}/reviews"): FIELD,
    ("POST", "/sittings/{sitting_id}/reviews/{n}/open"): FIELD,
    ("POST", "/sittings/{sitting_id}/reviews/{n}/answer"): FIELD,
    ("POST", "/sittings/{sitting_id}/reviews/{n}/reason"): FIELD,
    ("GET", "/looks/{asset}/{k}"): FIELD,
    # what an official begins without having been given it
    ("GET", "/practice"): FIELD,
    ("POST", "/practice"): FIELD,
    ("GET", "/refreshers/{policy_id}"): FIELD,
    ("POST", "/refreshers/{policy_id}/start"): FIELD,
    # results: one's own, and everybody's for the staff
    ("GET", "/results"): FIELD,
    ("GET", "/sittings/{sitting_id}/result"): FIELD | STAFF,
    ("GET", "/sittings/{sitting_id}/result/{n}"): FIELD | STAFF,
    ("GET", "/sittings/{sitting_id}/result/{n}/disagree"): FIELD,
    ("POST", "/sittings/{sitting_id}/result/{n}/disagree"): FIELD,
    ("GET", "/disagreements"): STAFF,
    ("POST", "/sittings/{sitting_id}/result/{n}/reply"): DESK,
    # lessons
    ("GET", "/lessons"): SIGNED_IN,
    ("GET", "/lessons/new"): DESK,
    ("POST", "/lessons/new"): DESK,
    ("GET", "/lessons/{lesson_id}"): SIGNED_IN,
    ("GET", "/lessons/{lesson_id}/add-step"): DESK,
    ("POST", "/lessons/{lesson_id}/steps"): DESK,
    ("GET", "/lessons/{lesson_id}/steps/{n}"): DESK,
    ("POST", "/lessons/{lesson_id}/steps/{n}"): DESK,
    ("POST", "/lessons/{lesson_id}/move"): DESK,
    ("POST", "/lessons/{lesson_id}/publish"): DESK,
    ("POST", "/lessons/{lesson_id}/assign"): STAFF,
    ("GET", "/lessons/{lesson_id}/watch"): SIGNED_IN,
    ("POST", "/lessons/{lesson_id}/watched"): SIGNED_IN,
}
"""(method, path of the route) -> who may."""
