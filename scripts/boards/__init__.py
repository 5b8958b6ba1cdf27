"""Real photographs of printed boards by other people: had from packages, never kept here."""
