"""Why something is as it is, before it is put into words."""

from __future__ import annotations

#: A reason's code, and the facts that fill its sentence (``rigvision.decision.reasons``).
Cause = tuple[str, dict[str, object]]
