"""Findings to answers: a room or a file each.

In: findings. Out: answers, which are findings too, and notices.
Called by `run`, `correction`, `reporter` and the command line.
"""
