"""What the commands ``plan``, ``orchestrate`` and ``short-score`` do with files."""
