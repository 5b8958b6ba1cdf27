"""Reads a photo of a rig gauge and measures door-edge gap and gauge-yoke alignment.

``rigvision.check(photo)`` checks one photo, ``rigvision.check_many(photos)`` several,
``rigvision.check_joint(photos)`` several of one untouched set-up together. They are loaded
on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["__version__", "check", "check_joint", "check_many"]

if TYPE_CHECKING:
    from rigvision.chain import check, check_many
    from rigvision.joint import check_joint


def __getattr__(name: str) -> Any:
    # The chain lives in ``rigvision.chain``: a module named ``check`` would take the
    # function's place in this namespace as soon as anybody imported it.
    if name in ("check", "check_many"):
        from rigvision import chain

        return getattr(chain, name)
    if name == "check_joint":
        from rigvision.joint import check_joint

        return check_joint
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
