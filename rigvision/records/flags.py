"""What an inspector must look at before signing: one table of flags, and who gets which.

Pure: facts of the check and of the earlier ones that it resembles in, flags out. A flag accuses
nobody; it says what was found, and what to do about it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone

from rigvision.ground.shown import one_line
from rigvision.records.bodies import Definition, Flag, Stage
from rigvision.records.sameness import Sameness

#: How far a phone's clock may be off the computer's without anybody being at fault; both are set
#: by the network as a rule. Common practice, no source.
CLOCK_TOLERANCE = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class FlagKind:
    """A sentence with blanks in braces for the facts, and what to do."""

    text: str
    remedy: str


FLAGS: dict[str, FlagKind] = {
    "same-photo": FlagKind(
        "This is the same exposure as in {records}, copied or processed: {why}.",
        "Compare both pictures. A photo counts once: take a new one of what is to be proven.",
    ),
    "same-setup-other-door": FlagKind(
        "This is a photo of the same untouched set-up as in {records}, which is {where}: {why}.",
        "Compare both pictures, and find out which door they show; photograph the other anew.",
    ),
    "same-setup-after": FlagKind(
        "Nothing has moved since {records}, {where}: {why}.",
        "If something was adjusted in between, photograph it as it stands now; if nothing was, "
        "say so in the remark.",
    ),
    "taken-before-job": FlagKind(
        "The photo was taken at {taken}{zone}, before the job was opened at {opened}.",
        "Find out what it shows; if the phone's clock is wrong, set it and take the photo again.",
    ),
    "taken-after-recording": FlagKind(
        "The photo says that it was taken at {taken}{zone}, after it was recorded at {recorded}.",
        "Set the clocks of phone and computer, and take the photo again.",
    ),
    "taken-at-missing": FlagKind(
        "The photo does not say when it was taken.",
        "Send the original file from the phone's camera; messengers and screenshots drop the time.",
    ),
    "calibration-overdue": FlagKind(
        "The calibration of {kind} {name} was due on {due}; the check was recorded on {on}.",
        "Have it calibrated; until then measure with another, and judge again what was measured "
        "since.",
    ),
    "definition-changed": FlagKind(
        "The file of {kind} {name} is another than the one that record {earlier} rests on.",
        "Find out what was changed in it and who approved that; both files are kept as evidence.",
    ),
}


@dataclass(frozen=True, slots=True)
class Place:
    """Which door a check is of, and at which stage of which job."""

    job: str
    engine: str
    frame: str
    door: int
    stage: Stage | None

    def same_door(self, other: Place) -> bool:
        mine, theirs = (_folded(p.engine) for p in (self, other))
        return (mine, self.frame, self.door) == (theirs, other.frame, other.door)

    def same_visit(self, other: Place) -> bool:
        """Where several photos of one set-up are what is asked for."""
        return self.same_door(other) and (self.job, self.stage) == (other.job, other.stage)


@dataclass(frozen=True, slots=True)
class Checked:
    """The check that is being recorded. Times are as the entries and the photo's file have them:
    ``recorded_at`` and ``job_opened_at`` in UTC, ``taken_at`` with its time zone or without.

    ``clock_offset_min`` is this machine's time less UTC, in minutes: taken for the phone's where
    the file tells no time zone.
    """

    place: Place
    taken_at: str | None
    recorded_at: str
    job_opened_at: str
    definitions: tuple[Definition, ...] = ()
    clock_offset_min: int = 0


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier record that was compared with the check. Corrected ones do not count."""

    record: str
    place: Place
    sameness: Sameness


@dataclass(frozen=True, slots=True)
class Relied:
    """A model's file that an earlier record rests on."""

    record: str
    definition: Definition


def flags_of(
    checked: Checked, earlier: Sequence[Earlier] = (), relied: Sequence[Relied] = ()
) -> tuple[Flag, ...]:
    """All flags of a check, in the order of the table; none where all is well.

    Of several earlier records that the same flag points to, the first given is named in
    ``record``, and all are counted in the text.
    """
    return (
        *_resemblances(checked.place, earlier),
        *_taken(checked),
        *_overdue(checked),
        *_changed(checked.definitions, relied),
    )


def _resemblances(place: Place, earlier: Sequence[Earlier]) -> list[Flag]:
    found: dict[str, list[Earlier]] = {}
    for one in earlier:
        code = _resemblance(place, one)
        if code:
            found.setdefault(code, []).append(one)
    return [_pointing(code, found[code]) for code in FLAGS if code in found]


def _resemblance(place: Place, earlier: Earlier) -> str | None:
    if earlier.sameness.kind == "same-photo":
        return "same-photo"
    if earlier.sameness.kind != "same-setup" or place.same_visit(earlier.place):
        return None
    return "same-setup-after" if place.same_door(earlier.place) else "same-setup-other-door"


def _pointing(code: str, earlier: Sequence[Earlier]) -> Flag:
    first, more = earlier[0], len(earlier) - 1
    records = f"record {first.record}" + (f" and {more} more" if more else "")
    return _flag(
        code,
        first.record,
        records=records,
        where=_described(first.place),
        why=first.sameness.why,
    )


def _described(place: Place) -> str:
    stage = f" ({place.stage})" if place.stage else ""
    engine, frame = one_line(place.engine, 40), one_line(place.frame, 40)
    return f"door {place.door} of {frame}, engine {engine}, in job {one_line(place.job, 40)}{stage}"


def _taken(checked: Checked) -> list[Flag]:
    taken, zone_known = _taken_time(checked)
    if taken is None:
        return [_flag("taken-at-missing")]
    opened, recorded = (_utc(t) for t in (checked.job_opened_at, checked.recorded_at))
    facts = {
        "taken": _shown(taken),
        "zone": "" if zone_known else " (its time zone is taken for this machine's)",
    }
    if taken < opened - CLOCK_TOLERANCE:
        return [_flag("taken-before-job", opened=_shown(opened), **facts)]
    if taken > recorded + CLOCK_TOLERANCE:
        return [_flag("taken-after-recording", recorded=_shown(recorded), **facts)]
    return []


def _taken_time(checked: Checked) -> tuple[datetime | None, bool]:
    """When the photo was taken, and whether its file tells the time zone. None: not told."""
    if checked.taken_at is None:
        return None, False
    try:
        taken = datetime.fromisoformat(checked.taken_at)
        if taken.tzinfo is not None:
            return taken.astimezone(UTC), True
        return taken.replace(tzinfo=_zone(checked.clock_offset_min)).astimezone(UTC), False
    except (ValueError, OverflowError):  # 2026-99-99, or a year that no time zone leaves in place
        return None, False


def _overdue(checked: Checked) -> list[Flag]:
    """A due date is the last day on which the calibration holds, by this machine's calendar."""
    on = _utc(checked.recorded_at).astimezone(_zone(checked.clock_offset_min)).date()
    return [
        _flag(
            "calibration-overdue",
            kind=definition.kind,
            name=one_line(definition.name, 64),
            due=definition.calibration_due,
            on=on.isoformat(),
        )
        for definition in checked.definitions
        if definition.calibration_due and date.fromisoformat(definition.calibration_due) < on
    ]


def _changed(definitions: Sequence[Definition], relied: Sequence[Relied]) -> list[Flag]:
    """Another file under the name of one that was relied on: limits may be others there."""
    known = {(r.definition.kind, r.definition.name): r for r in relied}
    found = [(d, known.get((d.kind, d.name))) for d in definitions]
    return [
        _flag(
            "definition-changed",
            before.record,
            earlier=before.record,
            kind=definition.kind,
            name=one_line(definition.name, 64),
        )
        for definition, before in found
        if before and before.definition.sha256 != definition.sha256
    ]


def _flag(code: str, record: str | None = None, **facts: object) -> Flag:
    kind = FLAGS[code]
    return Flag(code, kind.text.format(**facts), record, kind.remedy)


def _utc(time: str) -> datetime:
    """A time of an entry, which is UTC."""
    return datetime.fromisoformat(time).astimezone(UTC)


def _zone(offset_min: int) -> timezone:
    return timezone(timedelta(minutes=offset_min))


def _shown(time: datetime) -> str:
    return time.strftime("%Y-%m-%d %H:%M:%S UTC")


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()
