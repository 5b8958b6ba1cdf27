"""Shared ground of all model files: strict, frozen, every complaint located.

A model file is TOML. Its keys carry their unit, so that a value in another unit
cannot slip in under a familiar name. Unknown keys, missing keys, wrong types, NaN
and values outside what is physically possible are refused with one sentence each.
"""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Annotated, Any, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from rigvision.ground.errors import ModelError

#: A model file is a page or two of text; anything larger is not one.
MAX_MODEL_BYTES = 256 * 1024

Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,63}$")]
Point = tuple[float, float]
Range = tuple[float, float]


class Table(BaseModel):
    """One table of a model file."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)

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
    try:
        if path.stat().st_size > MAX_MODEL_BYTES:
            raise _unreadable(path, f"it is larger than {MAX_MODEL_BYTES // 1024} KiB")
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise _unreadable(path, error.strerror or "it cannot be opened") from error
    except UnicodeDecodeError as error:
        raise _unreadable(path, "it is not UTF-8 text") from error
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise _unreadable(path, f"it is not valid TOML: {error}") from error
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        raise _invalid(path, kind, error) from error


def _unreadable(path: Path, cause: str) -> ModelError:
    return ModelError(
        "model-unreadable",
        f"The model file {path} cannot be used: {cause}.",
        "Give the path of a gauge, frame or camera file in TOML.",
    )


def _invalid(path: Path, kind: type[Table], error: ValidationError) -> ModelError:
    complaints = [_complaint(kind, dict(e)) for e in error.errors(include_url=False)]
    shown = complaints[:5] + ([f"and {len(complaints) - 5} more"] if len(complaints) > 5 else [])
    return ModelError(
        "model-invalid",
        f"The model file {path} is wrong: " + "; ".join(shown) + ".",
        "Correct the file against the drawing or certificate; never guess a value.",
    )


def _complaint(kind: type[Table], error: dict[str, Any]) -> str:
    """One pydantic error as: table and key, the value found, what is allowed."""
    *tables, key = [str(part) for part in error["loc"]] or ["file"]
    where = f"[{'.'.join(tables)}] {key}" if tables else f"key {key}"
    allowed = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "missing":
        return f"{where} is missing"
    if error["type"] == "extra_forbidden":
        return f"{where} is not known{_nearest(kind, tables, key)}"
    found = error["input"]
    shown = f" = {found!r}"[:60] if not isinstance(found, dict) else ""
    return f"{where}{shown}: {allowed[0].lower()}{allowed[1:]}"


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
