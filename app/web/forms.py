"""What people type: read into a checked value, or given back with their words and what is wrong beside each field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, TypeVar, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails
from starlette.datastructures import ImmutableMultiDict, UploadFile
from starlette.requests import Request


class Form(BaseModel):
    """Base of all forms. Text is trimmed; fields that nobody knows are left aside (browsers add some)."""

    model_config = ConfigDict(frozen=True, extra="ignore", str_strip_whitespace=True, arbitrary_types_allowed=True)


F = TypeVar("F", bound=Form)

FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2200, 1, 1)


def _in_reach(value: date) -> date:
    if not FIRST_DAY <= value < LAST_DAY:
        raise ValueError(f"Give a day between {FIRST_DAY.year} and {LAST_DAY.year}.")
    return value


Day = Annotated[date, AfterValidator(_in_reach)]
"""A day that people mean, with which one can reckon."""


@dataclass(eq=False)
class Mistakes(Exception):
    """A form that cannot be used: what was typed, and a sentence for each field that is wrong ("" for the whole).

    Not frozen, because Python writes into an exception on its way up.
    """

    typed: Mapping[str, Any]
    about: Mapping[str, str]


async def read(request: Request, model: type[F]) -> F:
    """The posted form as a checked value. Raises Mistakes."""
    return checked(model, _fields(await request.form(), model))


def in_address(request: Request, model: type[F]) -> dict[str, Any]:
    """The fields of a form that stand in the address, as they were typed."""
    return _fields(request.query_params, model)


def checked(model: type[F], typed: Mapping[str, Any]) -> F:
    """Typed fields as a checked value. Raises Mistakes."""
    try:
        return model.model_validate(typed)
    except ValidationError as error:
        about: dict[str, str] = {}
        for details in error.errors():
            field = str(details["loc"][0]) if details["loc"] else ""
            about.setdefault(field, sentence(details))
        raise Mistakes(typed, about) from error


def _fields(data: ImmutableMultiDict[str, Any], model: type[Form]) -> dict[str, Any]:
    """Fields by name: a list where the model wants one, an upload as it is; an empty optional field is left out."""
    found: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        said = [value if isinstance(value, UploadFile) else without_nul(value) for value in data.getlist(name)]
        values = [value for value in said if isinstance(value, UploadFile) or value.strip()]
        if get_origin(field.annotation) in (list, tuple):
            found[name] = values
        elif values:
            found[name] = values[-1]
    return found


def without_nul(text: str) -> str:
    """What was typed without NUL: nobody means it, pasted text may hold it, and PostgreSQL cannot keep it."""
    return text.replace("\0", "")


def sentence(details: ErrorDetails) -> str:
    """What is wrong with a field, for whoever typed it."""
    kind, message, context = details["type"], details["msg"], details.get("ctx", {})
    if kind == "missing":
        return "This is needed."
    if kind == "value_error" and "error" in context:
        return str(context["error"])
    words = {
        "string_too_short": "This is too short.",
        "string_too_long": f"This is too long; {context.get('max_length')} characters at most.",
        "int_parsing": "This is not a whole number.",
        "date_from_datetime_parsing": "This is not a date.",
        "enum": "Choose one of those offered.",
        "literal_error": "Choose one of those offered.",
        "multiple_of": f"Give a multiple of {context.get('multiple_of')}.",
        "string_pattern_mismatch": "Choose one of those offered.",
    }
    return words.get(kind, message.removeprefix("Value error, ").removeprefix("Input should be ").capitalize() + ".")
