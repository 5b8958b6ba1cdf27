"""Reads a photo of a rig gauge and measures door-edge gap and yoke alignment."""

__version__ = "0.1.0"
