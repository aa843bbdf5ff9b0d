"""The drawings, a file each, with a function that draws on given axes.

What several files share is in `style`, `canvas` and `frame_parts`; figures and scales come from `values`. In: axes
and a `Report` or a part of it. Called by `page`, `write` and the command line.
"""
