"""Findings as rows of text: on the page, in CSV files, in the terminal."""
