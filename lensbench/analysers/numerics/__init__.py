"""Numerical methods that know nothing of lenses: splines, smooth surfaces, strips, filters.

In and out: arrays. Every capability may call them; a module is imported by its own name.
"""
