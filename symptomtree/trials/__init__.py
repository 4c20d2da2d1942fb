"""Trials: how good the advice is, held against what can be worked out exactly."""


class CannotTry(Exception):
    """Something outside is missing or not as it must be; the text says what to do."""
