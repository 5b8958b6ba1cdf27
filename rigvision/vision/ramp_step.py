"""Borders told from shading by their sharpness: two ramps with a step against one curve.

Near a border brightness is nearly a straight ramp on either side. A step between the ramps,
as sharp as the picture's own blur, is evidence for a border, however faint; shading, however
strong, is not.
"""

from __future__ import annotations

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal

#: One profile's certainty is capped, in squared standard deviations: it may be a scratch's.
MOST_DOUBT = 8.0
#: Samples half a pixel apart share pixels and blur: about every third is independent.
SAMPLES_PER_INDEPENDENT = 3.0
#: How far brightness may be from a ramp, part of its mean: a kink this small is no border.
RAMP_ERROR = 0.03


def step_evidence(
    light: FloatArray, step_mm: float, blur_mm: float, before_mm: float, after_mm: float
) -> FloatArray:
    """How much better two ramps with a step fit around each sample than one curve, 0..1.

    For profiles (S, K). Scale-free: a faint but sharp border counts as much as a strong one.
    The window (from ``before_mm`` in front of a sample to ``after_mm`` behind it) is the same
    around every sample, so one projection serves them all. NaN samples give no evidence.
    """
    before, after = int(before_mm / step_mm), int(after_mm / step_mm)
    width = before + after + 1
    evidence = np.zeros(light.shape)
    if len(light) <= width:
        return evidence
    d = np.asarray((np.arange(width) - before) * (step_mm / blur_mm), dtype=np.float64)
    beyond = cumulative_normal(d)
    smooth = np.stack([np.ones(width), d, d**2], axis=1)
    stepped = np.stack([beyond, beyond * d, 1.0 - beyond, (1.0 - beyond) * d], axis=1)
    windows = np.lib.stride_tricks.sliding_window_view(light, width, axis=0)
    seen = np.asarray(np.all(np.isfinite(windows), axis=2))
    values = np.where(seen[..., None], windows, 0.0)
    whole = np.einsum("skw,skw->sk", values, values)
    floor = width * (RAMP_ERROR * np.abs(values).mean(axis=2) + 1e-4) ** 2
    misfit = []
    for basis in (smooth, stepped):
        explained = values @ np.linalg.qr(basis)[0]
        misfit.append(np.maximum(whole - np.sum(explained**2, axis=2), 0.0) + floor)
    gain = np.log(misfit[0] / misfit[1]) * width / SAMPLES_PER_INDEPENDENT
    evidence[before : before + len(gain)] = np.where(seen, gain, 0.0)
    return np.asarray(np.clip(evidence / MOST_DOUBT, 0.0, 1.0))
