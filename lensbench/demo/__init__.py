"""The invented builds: simulated, measured like any other, and held against what is true of them.

Called by the command line.
"""
