"""The earlier name of `jit`, for the loops of the edge fit until that is rebuilt."""

from lensbench.analysers.numerics.jit import compiled

__all__ = ["compiled"]
