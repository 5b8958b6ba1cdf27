"""A result that ``rigvision check --json`` printed, read back strictly.

Whoever keeps results, in a file or a ledger, reads them here. A saved result may have been
damaged or forged on its way: what is not plainly a result of this schema is refused, in a
sentence. Keys that are not known here are passed over, as later versions add some.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, NoReturn

from pydantic import TypeAdapter, ValidationError

from rigvision.decision.joint_result import ConsistencyResult, DepthResult
from rigvision.decision.reasons import Reason
from rigvision.decision.result import (
    SCHEMA,
    BudgetLine,
    DecisionResult,
    GapResult,
    PhotoFacts,
    TurnsResult,
    Verdict,
    ViewResult,
    YokeResult,
)
from rigvision.ground.errors import SavedResultError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.metrology.monte_carlo import Comparison

#: Some three thousand results; one has about 10 kB.
MAX_SAVED_BYTES = 32_000_000
#: Lists and objects in each other; a list of joint results has 7.
MAX_SAVED_DEPTH = 12
#: The longest texts are sentences that list photos.
MAX_TEXT = 4000


@dataclass(frozen=True, slots=True)
class GapFigures:
    mean_mm: float | None
    expanded_uncertainty_mm: float | None


@dataclass(frozen=True, slots=True)
class GapDeviation:
    gap_mm: float | None
    expanded_uncertainty_mm: float | None


@dataclass(frozen=True, slots=True)
class ShareConsistency:
    chi_squared: float | None
    degrees_of_freedom: int
    probability: float | None


@dataclass(frozen=True, slots=True)
class SavedShare:
    """One photo of a joint result (``joint_result.PhotoShare``)."""

    name: str
    sha256: str | None
    used: bool
    left_out: Reason | None
    view: ViewResult | None
    gap: GapFigures
    deviation: GapDeviation
    consistency: ShareConsistency


@dataclass(frozen=True, slots=True)
class SavedJoint:
    photos: tuple[SavedShare, ...]
    plane_depths: tuple[DepthResult, ...]
    consistency: ConsistencyResult | None


@dataclass(frozen=True, slots=True)
class SavedMonteCarlo:
    draws: int
    seed: int
    quantities: tuple[Comparison, ...]


@dataclass(frozen=True, slots=True)
class SavedResult:
    """What ``decision.result.CheckResult`` says, as it was printed: figures to 0.01 micrometre."""

    schema: str
    photo: PhotoFacts
    gauge: str | None
    frame: str | None
    door: int | None
    camera: str
    verdict: Verdict
    borderline: bool
    reasons: tuple[Reason, ...]
    gap: GapResult | None
    yoke: YokeResult
    turns: TurnsResult
    uncertainty_budget: tuple[BudgetLine, ...]
    view: ViewResult
    version: str
    decision: DecisionResult | None = None
    monte_carlo: SavedMonteCarlo | None = None
    joint: SavedJoint | None = None


@dataclass(frozen=True, slots=True)
class SavedRefusal:
    """What stands in the place of a photo that could not be read."""

    name: str
    code: str
    text: str


Saved = SavedResult | SavedRefusal


def read_saved(path: Path) -> list[Saved]:
    """All results in a file that ``--json`` was written to. Raises SavedResultError."""
    name = one_line(path.name, 80)
    try:
        return parse_saved(read_ordinary(path, MAX_SAVED_BYTES), name)
    except OSError as error:
        raise _refused(name, error.strerror or "it cannot be opened") from error


def parse_saved(content: bytes, name: str = "the saved result") -> list[Saved]:
    """All results in what ``--json`` printed; ``name`` is what complaints call it.

    Raises SavedResultError for whatever is not one result or a list of them, whole and credible.
    """
    if len(content) > MAX_SAVED_BYTES:
        raise _refused(name, f"it has more than {MAX_SAVED_BYTES // 1_000_000} MB")
    try:
        plain = _plain(content.decode("utf-8"))
        items = plain if isinstance(plain, list) else [plain]
        return [_item(item) for item in items]
    except UnicodeDecodeError as error:
        raise _refused(name, "it is not UTF-8 text") from error
    except RecursionError as error:
        raise _refused(name, "it is nested without end") from error
    except ValidationError as error:
        raise _refused(name, _first_complaint(error)) from error
    except ValueError as error:
        raise _refused(name, one_line(str(error), 200)) from error


def _refused(name: str, cause: str) -> SavedResultError:
    return SavedResultError(
        "not-a-saved-result",
        f"{name} is not a result that rigvision printed: {cause}.",
        "Take the output of 'rigvision check --json' as it was printed, or check the photo again.",
    )


def _first_complaint(error: ValidationError) -> str:
    first = error.errors(include_url=False, include_input=False)[0]
    where = ".".join(str(part) for part in first["loc"])
    return one_line(f"{where}: {first['msg']}", 200)


# JSON without its dark corners


def _plain(text: str) -> Any:
    """Parsed JSON: numbers finite, keys once, texts of one line, nothing deep. Or ValueError."""
    plain = json.loads(
        text,
        parse_float=_finite,
        parse_int=_whole,
        parse_constant=_no_number,
        object_pairs_hook=_each_key_once,
    )
    level: list[Any] = [[plain]]
    depth = 0
    while level:
        depth += 1
        if depth > MAX_SAVED_DEPTH + 1:  # the outermost holds the whole
            raise ValueError(f"it is nested more than {MAX_SAVED_DEPTH} deep")
        inner: list[Any] = []
        for part in level:
            inner += part.values() if isinstance(part, dict) else part
        for text in inner:
            if isinstance(text, str) and (len(text) > MAX_TEXT or one_line(text) != text):
                raise ValueError("a text in it is too long or not of one line")
        level = [part for part in inner if isinstance(part, (dict, list))]
    return plain


def _finite(digits: str) -> float:
    number = float(digits)
    if not math.isfinite(number):
        raise ValueError(f"{digits[:20]} is too large a number")
    return number


def _whole(digits: str) -> int:
    """Nothing is counted here beyond what a float holds exactly; Python takes no 5000 digits."""
    if len(digits) > 16:
        raise ValueError(f"{digits[:20]} is too large a number")
    return int(digits)


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a number")


def _each_key_once(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice in it")
    return found


# Plain objects into results


def _item(plain: Any) -> Saved:
    if not isinstance(plain, dict):
        raise ValueError("it is neither a result nor a list of results")
    if "error" in plain:
        return _refusal(plain)
    if plain.get("schema") != SCHEMA:
        raise ValueError(f"its schema is {one_line(repr(plain.get('schema')), 60)}, not {SCHEMA}")
    whole = plain | ({"gap": _gap(plain["gap"])} if "gap" in plain else {})
    saved: SavedResult = _adapter(SavedResult).validate_json(json.dumps(whole), strict=True)
    _check(saved)
    return saved


def _refusal(plain: dict[str, Any]) -> SavedRefusal:
    photo, error = plain.get("photo"), plain["error"]
    if not isinstance(photo, dict) or not isinstance(error, dict):
        raise ValueError("a refusal in it is not whole")
    fields = {"name": photo.get("name"), "code": error.get("code"), "text": error.get("text")}
    saved: SavedRefusal = _adapter(SavedRefusal).validate_json(json.dumps(fields), strict=True)
    return saved


def _gap(plain: Any) -> Any:
    """None for the gap of which nothing is known, not even its limits (``as_json``)."""
    empty = isinstance(plain, dict) and not any(plain.values())
    return None if empty else plain


def _check(saved: SavedResult) -> None:
    """What types cannot say. Raises ValueError."""
    shares = saved.joint.photos if saved.joint else ()
    for sha256 in (saved.photo.sha256, *(share.sha256 for share in shares)):
        if sha256 is not None and not re.fullmatch(r"[0-9a-f]{64}", sha256):
            raise ValueError("a photo's sha256 in it is none")
    for key, value in _numbers(asdict(saved)):
        if value < 0 and ("uncertainty" in key or "coverage_factor" in key):
            raise ValueError(f"{key} is negative")
        if "probability" in key and not 0 <= value <= 1:
            raise ValueError(f"{key} is no probability")


def _numbers(plain: Any, key: str = "") -> list[tuple[str, float]]:
    """All numbers with the names they stand under."""
    if isinstance(plain, dict):
        return [found for name, value in plain.items() for found in _numbers(value, name)]
    if isinstance(plain, (list, tuple)):
        return [found for value in plain for found in _numbers(value, key)]
    is_number = isinstance(plain, (int, float)) and not isinstance(plain, bool)
    return [(key, plain)] if is_number else []


@lru_cache(maxsize=2)
def _adapter(kind: type) -> TypeAdapter[Any]:
    return TypeAdapter(kind)
