"""Clocks that are wrong, the edge's and its sources': how it shows, and where their samples belong."""
