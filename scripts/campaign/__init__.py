"""Accuracy campaigns: many pictures with known truth, checked, and what came of it as tables."""
