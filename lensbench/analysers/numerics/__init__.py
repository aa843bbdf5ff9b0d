"""Numerical pieces that know nothing of lenses: splines, smooth surfaces, strips, compiled loops.

In and out: arrays. Every capability may call them; a module is imported by its own name.
"""
