"""The full score of a sketch and a plan: score order, parts as they are read, every note with where it comes from."""

from deskproof.scoring.full_score.laying_out import FullScore, WrittenNote, full_score

__all__ = ["FullScore", "WrittenNote", "full_score"]
