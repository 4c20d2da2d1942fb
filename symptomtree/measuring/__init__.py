"""Measuring instead of guessing: what a workshop's readings come to, with their uncertainty."""
