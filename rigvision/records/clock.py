"""The time that entries carry."""

from __future__ import annotations

from datetime import UTC, datetime


def now() -> str:
    """What the clock says: UTC with microseconds, ``2026-01-31T23:59:59.000000Z``."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
