"""The pieces that come along, own inventions: a score with faults planted in it, and a sketch (docs/demo.md)."""

from pathlib import Path

SCORE = Path(__file__).with_name("ferry.musicxml")
SKETCH = Path(__file__).with_name("lamps.musicxml")
