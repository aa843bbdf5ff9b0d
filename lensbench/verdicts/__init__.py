"""Findings to answers."""
