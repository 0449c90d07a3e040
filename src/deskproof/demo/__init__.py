"""The piece that comes with Deskproof: own invention, with faults planted in it (docs/demo.md)."""

from pathlib import Path

SCORE = Path(__file__).with_name("ferry.musicxml")
