"""Millimetres into pass, adjust or retake, and turns: pure functions, no pixels, no files."""
