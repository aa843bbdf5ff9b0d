"""Findings to gains, warps and corrected pictures."""
