"""Reads a photo of a rig gauge and measures door-edge gap and gauge-yoke alignment.

``rigvision.check(photo)`` checks one photo, ``rigvision.check_many(photos)`` several.
Both are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["__version__", "check", "check_many"]

if TYPE_CHECKING:
    from rigvision.check import check, check_many


def __getattr__(name: str) -> Any:
    if name in ("check", "check_many"):
        from importlib import import_module

        module = import_module("rigvision.check")
        # The module of the same name became an attribute by being imported.
        globals().update(check=module.check, check_many=module.check_many)
        return globals()[name]
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
