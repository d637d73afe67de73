"""Decisions: pure functions on frozen values; no waiting, clock, randomness, files or logging."""
