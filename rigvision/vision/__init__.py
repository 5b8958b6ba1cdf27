"""Pixels into geometry: marks, pose with covariance, sub-pixel edges. Knows no limits."""
