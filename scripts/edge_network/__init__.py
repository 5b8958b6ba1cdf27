"""Trains the network that reads where a broken edge's tangent plane lies (see its model card)."""
