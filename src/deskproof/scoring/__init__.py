"""From a sketch to a plan of its scoring: strands and phrases, who can take them, and the plan that costs least.

``sketch`` reads the notes in page order, ``strands`` and ``phrases`` sort them, ``turning`` makes orchestra writing of
piano writing, ``hall`` says who is in the room, ``candidates`` who could play what at which price, ``model`` solves it,
``plan_text`` reads and writes the plan that the orchestrator owns, ``planning`` calls them in order, and ``setting``
makes the full score of a sketch and a plan. ``short_score`` goes the other way.
"""
