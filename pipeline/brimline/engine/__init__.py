"""Stages declared, keyed by content, run in order, kept and published."""
