"""The one root of all exceptions that Deskproof raises on purpose."""


class DeskproofError(Exception):
    """Something a person can act on: the message says what, where and what to do next."""
