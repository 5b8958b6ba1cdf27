"""Words that options take, as the command line checks them."""

from __future__ import annotations

from enum import StrEnum


class StageName(StrEnum):
    before = "before"
    after = "after"
