"""Trials: how good the advice is, held against what can be worked out exactly."""
