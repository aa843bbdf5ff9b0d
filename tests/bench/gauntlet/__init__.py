"""Misleading shots, each cause at four strengths: is a wrong figure ever stated without a word on why?

Run by hand: ``python -m tests.bench.gauntlet [CAUSE …]``. See `__main__` for the options.
"""
