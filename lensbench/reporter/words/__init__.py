"""Findings and answers as sentences."""
