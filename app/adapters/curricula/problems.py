"""Faults as sentences: what is wrong, what would be right, in words an author of text files knows."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from app.adapters.curricula.places import Path

_KINDS = {
    "string_type": "a text in quotes",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "date_from_datetime_parsing": "a date like 2026-02-01",
    "date_type": "a date like 2026-02-01",
    "tuple_type": "a list in [ ]",
    "list_type": "a list in [ ]",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "is_instance_of": "a fraction like 1/4",
    "missing": "a value for it",
    "string_pattern_mismatch": "lower-case words, digits and single hyphens, like offside-03",
    "string_too_short": "some words",
}
_LIMITS = {
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "{le} or less",
    "too_short": "at least {min_length}",
    "too_long": "at most {max_length}",
    "string_too_long": "at most {max_length} characters",
    "multiple_of": "a multiple of {multiple_of}",
    "enum": "{expected}",
    "literal_error": "{expected}",
    "union_tag_invalid": "one of {expected_tags}",
}
_AT_LINE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")


def syntax(error: tomllib.TOMLDecodeError | RecursionError, text: str) -> tuple[int | None, str]:
    """The line and a sentence for text that is no TOML at all."""
    if isinstance(error, RecursionError):
        return None, "this file is nested too deeply"
    message = str(error)
    match = _AT_LINE.search(message)
    line = int(match.group(1)) if match and match.group(1) else text.count("\n") + 1
    return line, f"this is not TOML: {_AT_LINE.sub('', message)[:200]}"


def sentence(error: ErrorDetails, model: type[BaseModel]) -> tuple[Path, str, str]:
    """Path inside the item, what is wrong, what was expected."""
    path: Path = tuple(error["loc"])
    kind, context = error["type"], error.get("ctx", {})
    name = str(path[-1]) if path else ""
    if kind == "missing":
        return path, f'the key "{name}" is missing', ""
    if kind == "extra_forbidden":
        return path, f'unknown key "{name}"', _near(name, model, path)
    if kind == "union_tag_not_found":
        return path, 'the key "kind" is missing', "which kind of step it is"
    if kind == "value_error":
        return path, str(context.get("error", error["msg"])), ""
    expected = _KINDS.get(kind) or _limit(kind, context) or error["msg"].removeprefix("Input should be ")
    return path, f'{_said(error["input"])} does not do for "{_label(path)}"', expected


def _limit(kind: str, context: Mapping[str, Any]) -> str:
    return _LIMITS[kind].format(**context) if kind in _LIMITS else ""


def _label(path: Path) -> str:
    return ".".join(str(part) for part in path)


def _said(value: object) -> str:
    text = repr(value) if not isinstance(value, str) else f'"{value}"'
    return text if len(text) <= 60 else text[:57] + "..."


def _near(name: str, model: type[BaseModel], path: Path) -> str:
    keys = _keys(model) if len(path) == 1 else _every_key(model)
    close = difflib.get_close_matches(name, keys, n=1)
    if close:
        return f'"{close[0]}"?'
    return f"one of {', '.join(keys)}" if len(path) == 1 else "a key from curricula/README.md"


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _every_key(model: type[BaseModel]) -> list[str]:
    """Keys of the model and of all that is nested in it, for near misses deep inside."""
    return sorted(set(_property_names(model.model_json_schema(by_alias=True))))


def _property_names(schema: object) -> list[str]:
    if isinstance(schema, list):
        return [name for item in schema for name in _property_names(item)]
    if not isinstance(schema, dict):
        return []
    own = list(schema["properties"]) if isinstance(schema.get("properties"), dict) else []
    return own + [name for value in schema.values() for name in _property_names(value)]
