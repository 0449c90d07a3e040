"""Deskproof: reads an exported score, works out how each part would be played, and offers mends."""

__version__ = "0.1.0"
