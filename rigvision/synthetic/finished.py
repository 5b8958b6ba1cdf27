"""A finished picture on its way into a file: what copying and cutting do to it and its truth."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from rigvision.ground.conventions import FloatArray
from rigvision.synthetic.camera import PhoneCamera
from rigvision.synthetic.development import packed

U8 = npt.NDArray[np.uint8]
#: The map that leaves every pixel where it is.
UNMOVED: FloatArray = np.eye(2, 3)


@dataclass(frozen=True, slots=True, eq=False)
class Finished:
    """An upright YCbCr picture (h, w, 3) and the camera whose EXIF it will carry."""

    ycc: U8
    camera: PhoneCamera
    #: From pixels of the picture as it was developed to pixels of this one (2, 3).
    px_from_developed: FloatArray

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.ycc.shape[1], self.ycc.shape[0]

    def with_development(self, **changes: Any) -> Finished:
        development = replace(self.camera.development, **changes)
        return replace(self, camera=replace(self.camera, development=development))

    def mapped(self, ycc: U8, px_from_px: FloatArray) -> Finished:
        """Another picture, to which this one's pixels were mapped by (2, 3)."""
        moved = px_from_px[:, :2] @ self.px_from_developed
        moved[:, 2] += px_from_px[:, 2]
        return replace(self, ycc=ycc, px_from_developed=moved)

    def resized(self, long_side_px: int) -> Finished:
        """Shrunk (or grown) so that its longer side has so many pixels."""
        width, height = self.size_px
        scale = long_side_px / max(width, height)
        size = round(width * scale), round(height * scale)
        shrinks = scale < 1
        ycc = cv2.resize(
            self.ycc, size, interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC
        )
        across, down = size[0] / width, size[1] / height
        # A pixel's centre is at whole numbers, so its left border at minus a half.
        px_from_px = np.array([[across, 0, (across - 1) / 2], [0, down, (down - 1) / 2]])
        return self.mapped(np.asarray(ycc, np.uint8), px_from_px)

    def cropped(self, left: int, top: int, width: int, height: int) -> Finished:
        ycc = np.ascontiguousarray(self.ycc[top : top + height, left : left + width])
        return self.mapped(ycc, np.array([[1.0, 0, -left], [0, 1.0, -top]]))

    def turned(self, quarters: int) -> Finished:
        """Turned by quarters of a full turn, counter-clockwise."""
        width, height = self.size_px
        by: dict[int, list[list[float]]] = {
            0: [[1, 0, 0], [0, 1, 0]],
            1: [[0, 1, 0], [-1, 0, width - 1]],
            2: [[-1, 0, width - 1], [0, -1, height - 1]],
            3: [[0, -1, height - 1], [1, 0, 0]],
        }
        ycc = np.ascontiguousarray(np.rot90(self.ycc, quarters))
        return self.mapped(ycc, np.array(by[quarters % 4], float))

    def mirrored(self) -> Finished:
        """Left and right exchanged, as selfies are."""
        width, _ = self.size_px
        ycc = np.ascontiguousarray(self.ycc[:, ::-1])
        return self.mapped(ycc, np.array([[-1.0, 0, width - 1], [0, 1.0, 0]]))

    def recompressed(self, quality: int) -> Finished:
        """Through a JPEG of so much quality and back."""
        out = io.BytesIO()
        planes = [Image.fromarray(plane) for plane in self._planes()]
        Image.merge("YCbCr", planes).save(out, "JPEG", quality=quality, subsampling=2)
        with Image.open(out) as image:
            image.draft("YCbCr", None)
            return replace(self, ycc=np.asarray(image))

    def file(self, taken_at_s: int) -> bytes:
        """The JPEG."""
        return packed(self._planes(), self.camera, taken_at_s)

    def _planes(self) -> list[U8]:
        return [np.asarray(plane, np.uint8) for plane in cv2.split(self.ycc)]

    def truth_moved(self, truth: dict[str, Any]) -> dict[str, Any]:
        """The truth of the developed picture in this one's pixels."""
        linear, shift = self.px_from_developed[:, :2], self.px_from_developed[:, 2]
        scale = float(np.sqrt(abs(np.linalg.det(linear))))

        def at(points: Any) -> Any:
            return (np.asarray(points) @ linear.T + shift).tolist()

        view = truth["view"]
        return truth | {
            "view": view
            | {
                "focal_px": view["focal_px"] * scale,
                "principal_point_px": at(view["principal_point_px"]),
            },
            "marks": {mark: at(corners) for mark, corners in truth["marks"].items()},
        }
