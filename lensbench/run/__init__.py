"""One session from its folder to its Report: shots read, settings joined, warnings said, answers judged.

In: a `Session`. Out: a `Report`. Called by the command line and by `demo`.
"""
