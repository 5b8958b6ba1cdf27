"""The phone that takes the photo: where it is, its lens, and what its firmware does.

The ray model is this package's own: rays are written as slopes (mx, my), so that a ray from
the eye reaches the plane z at ``x = eye_x + (eye_z - z) * mx``, and likewise in y. That needs
an eye in front of the gauge that looks towards it, which is the only case there is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import cos, hypot, radians, sin

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FULL_FRAME_DIAGONAL_MM, FloatArray

F32 = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Development:
    """What happens to light between lens and file."""

    #: Standard deviation of the lens's and sensor's blur, px.
    blur_sigma_px: float = 0.8
    #: Mean linear luminance of the white pads after exposure (1 is clipped).
    exposure: float = 0.75
    #: Light that the lens scatters evenly over the picture, as a fraction of full scale.
    flare: float = 0.003
    #: Light lost in the corners of the picture, as a fraction.
    vignetting: float = 0.15
    #: Noise of a full-scale and of a black pixel, as fractions of full scale.
    shot_noise: float = 0.010
    read_noise: float = 0.0012
    #: Correlation length of what noise reduction leaves, px; 0 for none.
    noise_grain_px: float = 0.5
    #: Mix of the plain sRGB curve (0) with a photographic S-curve (1); None for linear pixels.
    s_curve: float | None = 0.35
    #: Unsharp mask on the encoded luminance: amount and radius in px.
    sharpen: float = 0.6
    sharpen_sigma_px: float = 1.2
    jpeg_quality: int = 92
    #: EXIF orientation of the file; the upright picture does not depend on it.
    orientation: int = 1
    #: Whether the file carries EXIF at all.
    exif: bool = True
    #: The 35-mm equivalent that EXIF states; None for the true one, 0 for none at all.
    stated_35mm: int | None = None
    #: EXIF's DigitalZoomRatio; None leaves it out.
    stated_zoom: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PhoneCamera:
    """A camera in gauge axes; pixels are those of the upright picture."""

    width_px: int = 4000
    height_px: int = 3000
    #: From the gauge's origin to the camera's centre.
    distance_mm: float = 250.0
    #: Between the plate's normal and the direction to the camera, seen from the origin.
    tilt_deg: float = 0.0
    #: Which way the camera is tilted to: 0 towards +x, 90 towards +y.
    azimuth_deg: float = 0.0
    #: Turn of the camera about its axis; positive turns the picture's content clockwise.
    roll_deg: float = 0.0
    #: Point of the marks plane that the lens points at.
    aim_mm: tuple[float, float] = (0.0, 0.0)
    #: Focal length; None takes that of a 26 mm equivalent.
    focal_px: float | None = None
    #: Principal point against the picture's centre, px.
    principal_offset_px: tuple[float, float] = (0.0, 0.0)
    #: Radial distortion: x_distorted = x (1 + k1 r^2 + k2 r^4) in normalised coordinates.
    k1: float = 0.0
    k2: float = 0.0
    development: Development = field(default_factory=Development)

    @property
    def lens_px(self) -> float:
        """Focal length, px."""
        diagonal_px = hypot(self.width_px, self.height_px)
        return self.focal_px or 26.0 / FULL_FRAME_DIAGONAL_MM * diagonal_px

    @property
    def equivalent_mm(self) -> int:
        """Focal length as EXIF gives it, for 35 mm film, rounded."""
        diagonal_px = hypot(self.width_px, self.height_px)
        return round(self.lens_px * FULL_FRAME_DIAGONAL_MM / diagonal_px)

    @property
    def principal_point_px(self) -> tuple[float, float]:
        dx, dy = self.principal_offset_px
        return (self.width_px - 1) / 2 + dx, (self.height_px - 1) / 2 + dy

    @property
    def eye_mm(self) -> FloatArray:
        """Centre of the camera (3,) in gauge axes."""
        t, a = radians(self.tilt_deg), radians(self.azimuth_deg)
        return self.distance_mm * np.array([sin(t) * cos(a), sin(t) * sin(a), cos(t)])

    @property
    def axes(self) -> FloatArray:
        """Rows: the camera's right, down and forward (3, 3), in gauge axes."""
        forward = np.array([*self.aim_mm, 0.0]) - self.eye_mm
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [0.0, 1.0, 0.0])
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        c, s = cos(radians(self.roll_deg)), sin(radians(self.roll_deg))
        return np.array([c * right - s * down, s * right + c * down, forward])

    def project_px(self, points_mm: FloatArray) -> FloatArray:
        """Pixels (n, 2) where points (n, 3) of the gauge's space appear."""
        seen = (points_mm - self.eye_mm) @ self.axes.T
        plane = seen[:, :2] / seen[:, 2:]
        r2 = np.sum(plane**2, axis=1, keepdims=True)
        radial = 1.0 + self.k1 * r2 + self.k2 * r2**2
        return np.asarray(self.lens_px * plane * radial + np.array(self.principal_point_px))

    def slopes(self, u_px: F32, v_px: F32) -> tuple[F32, F32]:
        """Slopes (mx, my) of the rays through pixels (u, v), each of the shape given."""
        cx, cy = self.principal_point_px
        f = self.lens_px
        x = (u_px - np.float32(cx)) * np.float32(1.0 / f)
        y = (v_px - np.float32(cy)) * np.float32(1.0 / f)
        if self.k1 or self.k2:
            shrink = _undistortion(x * x + y * y, self.k1, self.k2)
            x *= shrink
            y *= shrink
        a = self.axes.astype(np.float32)
        towards = -(a[0, 2] * x + a[1, 2] * y + a[2, 2])
        np.reciprocal(towards, out=towards)
        mx = (a[0, 0] * x + a[1, 0] * y + a[2, 0]) * towards
        my = (a[0, 1] * x + a[1, 1] * y + a[2, 1]) * towards
        return mx, my


def _undistortion(r2_distorted: F32, k1: float, k2: float) -> F32:
    """The factor s with r = s r_d that solves r_d = r (1 + k1 r^2 + k2 r^4), by Newton's method.

    With w = k1 r_d^2 and v = k2 r_d^4 that is v s^5 + w s^3 + s = 1; without v, three steps
    from the series reach float32's end for |w| < 0.1. With it, wide lenses need more.
    """
    w = np.float32(k1) * r2_distorted
    if k2:
        v = np.float32(k2) * r2_distorted**2
        s = np.ones_like(w)
        for _ in range(8):
            s2 = s * s
            s = s - (((v * s2 + w) * s2 + 1.0) * s - 1.0) / ((5.0 * v * s2 + 3.0 * w) * s2 + 1.0)
        return np.asarray(s, dtype=np.float32)
    s = 1.0 - w + 3.0 * w * w
    for _ in range(3):
        s2 = s * s
        s = s - (w * s2 * s + s - 1.0) / (3.0 * w * s2 + 1.0)
    return np.asarray(s, dtype=np.float32)
