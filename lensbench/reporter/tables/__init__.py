"""Findings as rows of text: on the page, in CSV files, in the terminal. Nothing here loads a drawing library.

In: a `Report`, or the edges of one shot. Out: headings and rows. Called by `reporter` and the command line.
"""
