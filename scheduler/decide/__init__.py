"""Limits, verdicts and windows."""
