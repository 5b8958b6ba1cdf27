"""Geometry into millimetres, each with its uncertainty budget. Decides nothing."""
