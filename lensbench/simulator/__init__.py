"""A lens known in full, and the shots it would take, with the truth beside them.

In: a `Lens`, a `Camera`, a `Scene` and a `Layout`. Out: Shots and their truth, or a session's folder.
Called by `demo` and the tests; a module is imported by its own name.
"""
