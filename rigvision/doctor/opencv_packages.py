"""Which of OpenCV's packages are installed: there may be one only.

All of them write the same folder ``cv2``. Two overwrite each other's files, and taking one away
leaves a folder from which half is missing.
"""

from __future__ import annotations

import re
from importlib.metadata import distributions

#: Packages of the same OpenCV: with windows or without, with contributed modules or without.
OPENCV = (
    "opencv-python",
    "opencv-python-headless",
    "opencv-contrib-python",
    "opencv-contrib-python-headless",
)


def installed_opencv() -> dict[str, str]:
    """Version of every installed distribution whose name begins with ``opencv``, by name.

    Of a distribution that lies in several folders of the search path the first counts, which
    is the one that is imported.
    """
    found: dict[str, str] = {}
    for one in distributions():
        name = re.sub(r"[-_.]+", "-", one.metadata["Name"] or "").lower()
        if name.startswith("opencv"):
            found.setdefault(name, one.version)
    return found
