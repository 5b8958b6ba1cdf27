"""Plain JSON as a typed part of a record, strictly, and back."""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from rigvision.ground.shown import one_line


def plain_of(part: Any) -> dict[str, Any]:
    """A dataclass as the JSON that is hashed: lists for tuples, nothing else new."""
    plain: dict[str, Any] = json.loads(json.dumps(asdict(part), allow_nan=False))
    return plain


def read_part(kind: type, plain: Any) -> Any:
    """The dataclass that plain JSON stands for. Keys that are not known are passed over.

    Raises ValueError, in words: which field is wrong, and how.
    """
    try:
        return _adapter(kind).validate_json(json.dumps(plain, allow_nan=False), strict=True)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise ValueError(one_line(f"{where}: {first['msg']}", 200)) from error


def read_exactly(kind: type, plain: Any) -> Any:
    """As ``read_part``, but with every field there and none beside: for what somebody signed."""
    part = read_part(kind, plain)
    if plain_of(part) != plain:
        raise ValueError("it says more or less than its schema has")
    return part


@cache
def _adapter(kind: type) -> TypeAdapter[Any]:
    return TypeAdapter(kind)
