"""The key ``joint`` of a result: what each of several photos contributed."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from rigvision.decision.joint_result import JointResult, PhotoShare


def joint_as_json(joint: JointResult) -> dict[str, Any]:
    """Photos in the order given, depths that parallax tells, and whether all agree."""
    return {
        "photos": [_photo(share) for share in joint.photos],
        "plane_depths": [asdict(depth) for depth in joint.plane_depths],
        "consistency": asdict(joint.consistency) if joint.consistency else None,
    }


def _photo(share: PhotoShare) -> dict[str, Any]:
    """Its own gap, that gap minus the one of the others, and its test against them."""
    return {
        "name": share.name,
        "sha256": share.sha256,
        "used": share.left_out is None,
        "left_out": asdict(share.left_out) if share.left_out else None,
        "view": asdict(share.own.view) if share.own else None,
        "gap": {
            "mean_mm": share.gap_mm,
            "expanded_uncertainty_mm": share.gap_expanded_uncertainty_mm,
        },
        "deviation": {
            "gap_mm": share.deviation_mm,
            "expanded_uncertainty_mm": share.deviation_expanded_uncertainty_mm,
        },
        "consistency": {
            "chi_squared": share.chi_squared,
            "degrees_of_freedom": share.degrees_of_freedom,
            "probability": share.probability,
        },
    }
