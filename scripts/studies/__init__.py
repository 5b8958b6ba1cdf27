"""Invented studies, and how often the intervals of drawn ones hold the truth."""
