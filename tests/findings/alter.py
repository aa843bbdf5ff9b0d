"""Findings are frozen; tests that invent some may still change them in place."""

from msgspec.structs import force_setattr


def alter(finding, **values):
    """Set fields of a finding."""
    for name, value in values.items():
        force_setattr(finding, name, value)
