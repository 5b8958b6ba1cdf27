"""Shared ground of all model files: strict, frozen, every complaint located.

A model file is TOML. Its keys carry their unit, so that a value in another unit
cannot slip in under a familiar name. Unknown keys, missing keys, wrong types, NaN
and values outside what is physically possible are refused with one sentence each.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from itertools import islice
from pathlib import Path
from typing import Annotated, Any, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr, ValidationError, model_validator

from rigvision.ground.errors import ModelError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line

#: A model file is a page or two of text; anything larger is not one.
MAX_MODEL_BYTES = 256 * 1024
#: Tables in tables and arrays in arrays; the deepest of the shipped files is 3.
MAX_DEPTH = 8
#: Values and keys in all; the largest of the shipped files has 120.
MAX_VALUES = 5000
#: A key of more parts than MAX_DEPTH, where TOML has keys. Of a key with 60 000 parts the parser
#: remembers each beginning: two and a half minutes for 120 kB.
_PART = r"""(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')"""
_LONG_KEY = re.compile(
    rf"(?:^|[\[{{,])[ \t]*+{_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MAX_DEPTH}}}", re.MULTILINE
)
#: Complaints that are shown of one file.
MOST_COMPLAINTS = 5

Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,63}$")]
Point = tuple[float, float]
Range = tuple[float, float]


class Table(BaseModel):
    """One table of a model file."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)
    #: The bytes of the file that it was read from; none for a table inside it.
    _content: bytes = PrivateAttr(default=b"")

    @property
    def content(self) -> bytes:
        """The file as it was read, so that what was measured with can be kept.

        A copy with other values still has the bytes of its original.
        """
        return self._content

    def __eq__(self, other: object) -> bool:
        """Equal values are equal models, whatever comments stood beside them."""
        return type(self) is type(other) and self.__dict__ == other.__dict__

    @model_validator(mode="before")
    @classmethod
    def _from_toml(cls, data: Any) -> Any:
        """TOML has arrays where Python has tuples, and whole numbers where we mean reals."""
        if not isinstance(data, dict):
            return data
        return {key: _tuples(value) for key, value in data.items()}

    @model_validator(mode="after")
    def _ranges_rise(self) -> Self:
        """Every pair along an axis is (low, high)."""
        for name in type(self).model_fields:
            value = getattr(self, name)
            along_axis = name.endswith(("_x_mm", "_y_mm", "_z_mm")) or name[1:] == "_mm"
            pair = isinstance(value, tuple) and len(value) == 2
            if along_axis and pair and value[0] >= value[1]:
                raise ValueError(f"{name} = {list(value)}: the first must be the smaller")
        return self


AnyTable = TypeVar("AnyTable", bound=Table)


def _tuples(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_tuples(v) for v in value)
    if isinstance(value, dict):
        return {key: _tuples(v) for key, v in value.items()}
    return value


def read_model(path: Path, kind: type[AnyTable]) -> AnyTable:
    """Read and check one model file.

    Raises ModelError, naming file, table, key, the value found and what is allowed.
    """
    content = _content(path)
    data = _parsed(path, content)
    try:
        model = kind.model_validate(data)
    except ValidationError as error:
        raise _invalid(path, kind, error) from error
    model._content = content
    return model


def _parsed(path: Path, content: bytes) -> dict[str, Any]:
    """The file's TOML, of a size and depth that a model may have."""
    text = _text(path, content)
    if _LONG_KEY.search(text):
        raise _unreadable(path, f"it has a key of more than {MAX_DEPTH} parts")
    try:
        data = tomllib.loads(text)
    except RecursionError as error:
        raise _unreadable(path, "it is not valid TOML: it is nested without end") from error
    except ValueError as error:  # also a number with more digits than Python takes
        raise _unreadable(path, f"it is not valid TOML: {one_line(str(error), 200)}") from error
    _check_extent(path, data)
    return data


def _text(path: Path, content: bytes) -> str:
    """The file as text; some editors put a byte order mark before it."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _unreadable(path, "it is not UTF-8 text") from error


def _content(path: Path) -> bytes:
    try:
        return read_ordinary(path, MAX_MODEL_BYTES)
    except OSError as error:
        raise _unreadable(path, error.strerror or "it cannot be opened") from error
    except ValueError as error:
        raise _unreadable(path, "no file can have such a name") from error


def _check_extent(path: Path, data: dict[str, Any]) -> None:
    """Raises ModelError for more values, or deeper nested ones, than a model has.

    Level by level, as a nest may be deeper than functions can call themselves.
    """
    level: list[Any] = [data]
    values = depth = 0
    while level:
        depth += 1
        if depth > MAX_DEPTH:
            raise _unreadable(path, f"it is nested more than {MAX_DEPTH} deep")
        inner = [v for part in level for v in (part.values() if isinstance(part, dict) else part)]
        values += len(inner)
        if values > MAX_VALUES:
            raise _unreadable(path, f"it holds more than {MAX_VALUES} values")
        level = [v for v in inner if isinstance(v, (dict, list))]


def _unreadable(path: Path, cause: str) -> ModelError:
    return ModelError(
        "model-unreadable",
        f"The model file {one_line(str(path), 300)} cannot be used: {cause}.",
        "Give the path of a gauge, frame or camera file in TOML.",
    )


def _invalid(path: Path, kind: type[Table], error: ValidationError) -> ModelError:
    errors = error.errors(include_url=False)
    shown = [_complaint(kind, dict(e)) for e in islice(errors, MOST_COMPLAINTS)]
    if len(errors) > MOST_COMPLAINTS:
        shown.append(f"and {len(errors) - MOST_COMPLAINTS} more")
    return ModelError(
        "model-invalid",
        f"The model file {one_line(str(path), 300)} is wrong: " + "; ".join(shown) + ".",
        "Correct the file against the drawing or certificate; never guess a value.",
    )


def _complaint(kind: type[Table], error: dict[str, Any]) -> str:
    """One pydantic error as: table and key, the value found, what is allowed."""
    *tables, key = [one_line(str(part), 64) for part in error["loc"]] or ["file"]
    where = f"[{'.'.join(tables)}] {key}" if tables else f"key {key}"
    allowed = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "missing":
        return f"{where} is missing"
    if error["type"] == "extra_forbidden":
        return f"{where} is not known{_nearest(kind, tables, key)}"
    shown = "" if isinstance(error["input"], dict) else f" = {_value(error['input'])}"
    return f"{where}{shown}: {allowed[0].lower()}{allowed[1:]}"


def _value(found: Any) -> str:
    """A value as it may be shown. Python prints no number of more than some thousand digits."""
    if isinstance(found, int) and found.bit_length() > 256:
        return "a number of more than 77 digits"
    if isinstance(found, (list, tuple)) and len(found) > 16:
        return f"{len(found)} values"
    return one_line(repr(found), 57)


def _nearest(kind: type[Table], tables: list[str], key: str) -> str:
    """The known key that the writer most likely meant, with its unit."""
    model: Any = kind
    for table in tables:
        field = getattr(model, "model_fields", {}).get(table)
        if field is None:
            return ""
        candidates = [field.annotation, *getattr(field.annotation, "__args__", ())]
        model = next((c for c in candidates if hasattr(c, "model_fields")), None)
    names = list(getattr(model, "model_fields", {}))
    close = difflib.get_close_matches(key, names, n=1, cutoff=0.5)
    return f" (is {close[0]} meant?)" if close else f" (known here: {', '.join(names)})"
