"""What the index tables hold of an entry: a function of the entry alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from rigvision.records import likeness_index
from rigvision.records.entry import Entry

#: A table of ``schema.INDEX_TABLES`` and one row of it, by column.
Row = tuple[str, dict[str, Any]]


def index_rows(entry: Entry) -> list[Row]:
    """All rows that the index has of an entry; some kinds have none.

    Raises KeyError or TypeError where the body lacks what its kind always has.
    """
    made = _OF_KIND.get(entry.kind)
    if made is None:
        return []
    return [(table, {"sequence": entry.sequence} | row) for table, row in made(entry)]


def _person(entry: Entry) -> Iterator[Row]:
    body = entry.body
    yield "person", {k: body[k] for k in ("person", "role", "public_key", "fingerprint")}


def _withdrawal(entry: Entry) -> Iterator[Row]:
    yield "withdrawal", {"fingerprint": entry.body["fingerprint"]}


def _job(entry: Entry) -> Iterator[Row]:
    named = ("job", "work_order", "engine", "frame", "door", "position")
    yield "job", {k: entry.body[k] for k in named} | {"opened_at": entry.recorded_at}


def _job_closed(entry: Entry) -> Iterator[Row]:
    yield "job_closed", {"job": entry.body["job"], "closed_at": entry.recorded_at}


def _check(entry: Entry) -> Iterator[Row]:
    body, core, result = entry.body, entry.body["core"], entry.body["result"]
    record = core["record"]
    yield (
        "check_recorded",
        {
            **{k: core[k] for k in ("record", "job", "stage", "recorded_at", "taken_at")},
            # A retake may not know them.
            **{k: result.get(k) for k in ("gauge", "frame", "door")},
            "verdict": result["verdict"],
            "borderline": int(result["borderline"]),
            "photo_sha256": core["photo"]["sha256"],
            "image_sha256": body["image"]["sha256"],
            "core_sha256": body["core_sha256"],
            "result_sha256": core["result_sha256"],
        },
    )
    yield "mention", {"record": record}
    yield from _check_files(body)
    if body.get("likeness") is not None:
        yield _likeness(record, body["likeness"])
    if body.get("measured") is not None:
        yield _signing(body["measured"])


def _check_files(body: dict[str, Any]) -> Iterator[Row]:
    core = body["core"]
    for part, facts in (("photo", core["photo"]), ("image", body["image"])):
        yield (
            "file",
            {"sha256": facts["sha256"], "part": part, "size_bytes": facts["size_bytes"]},
        )
    # The same model may serve twice; its name tells the two apart for people only.
    for kind, sha256 in sorted({(d["kind"], d["sha256"]) for d in core["definitions"]}):
        yield "file", {"sha256": sha256, "part": kind, "size_bytes": None}


def _likeness(record: str, likeness: dict[str, Any]) -> Row:
    return "likeness", {"record": record} | likeness_index.row_of(likeness)


def _signing(signed: dict[str, Any]) -> Row:
    named = ("record", "decision", "person", "fingerprint")
    return "signing", {k: signed["statement"][k] for k in named}


def _signed(entry: Entry) -> Iterator[Row]:
    yield _signing(entry.body["signed"])
    yield "mention", {"record": entry.body["record"]}


def _corrected(entry: Entry) -> Iterator[Row]:
    record, replaced_by = entry.body["record"], entry.body.get("replaced_by")
    yield "correction", {"record": record, "replaced_by": replaced_by}
    for mentioned in sorted({record, replaced_by} - {None}):
        yield "mention", {"record": mentioned}


def _exported(entry: Entry) -> Iterator[Row]:
    body = entry.body
    yield "mention", {"record": body["record"]}
    part = f"exported {body['form']}"
    yield (
        "file",
        {"sha256": body["sha256"], "part": part, "size_bytes": body["size_bytes"]},
    )


def _noted(entry: Entry) -> Iterator[Row]:
    yield "mention", {"record": entry.body["record"]}


_OF_KIND: dict[str, Callable[[Entry], Iterator[Row]]] = {
    "person-enrolled": _person,
    "person-withdrawn": _withdrawal,
    "job-opened": _job,
    "job-closed": _job_closed,
    "check-recorded": _check,
    "check-signed": _signed,
    "check-corrected": _corrected,
    "exported": _exported,
    "noted": _noted,
}
