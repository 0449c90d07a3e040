"""The local page for going through the findings of a score: who may ask, which files, what is shown."""
