"""The exception tree: one class for each way the program must react.

Every error is a sentence for a person: what is wrong, where, and what to do.
"""

from __future__ import annotations


class RigvisionError(Exception):
    """Base of all errors that rigvision raises on purpose.

    ``code`` is a short stable word for programs, ``text`` says what is wrong and
    where, ``remedy`` what to do about it.
    """

    def __init__(self, code: str, text: str, remedy: str) -> None:
        super().__init__(f"{text} {remedy}")
        self.code = code
        self.text = text
        self.remedy = remedy


class PhotoError(RigvisionError):
    """A file cannot be read as a photo. The other photos are still checked."""


class ModelError(RigvisionError):
    """A gauge, frame or camera file is missing or wrong. Nothing can be checked with it."""


class UsageError(RigvisionError):
    """The caller asked for something that does not exist or does not fit together."""


class SavedResultError(RigvisionError):
    """A saved result is damaged or not one of ours. Nothing in it may be used."""


class PersonKeyError(RigvisionError):
    """A person's key cannot be made, read or opened. Nothing can be signed with it."""


class RecordingError(RigvisionError):
    """A check that was made cannot be recorded. Nothing of it is in the ledger."""


class SignOffError(RigvisionError):
    """A statement may not be signed, or not by this person. Nothing is recorded."""


class ExportError(RigvisionError):
    """A file that left the house cannot be written, or not be read as what it says it is."""


class Unmeasurable(Exception):
    """A picture that does not carry what a step needs. The photo must be taken again.

    ``code`` is one of the reasons in ``rigvision.decision.reasons``; ``facts`` fills
    the blanks of that reason's sentence.
    """

    def __init__(self, code: str, **facts: object) -> None:
        super().__init__(f"{code}: {facts}")
        self.code = code
        self.facts = facts
