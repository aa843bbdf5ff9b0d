"""The page of a report: what stands on it, in which order.

In: a `Report` (and its zone map as PNG). Out: the page's HTML as text. Called by `reporter.write`.
"""

from lensbench.reporter.page.composition import page_text

__all__ = ["page_text"]
