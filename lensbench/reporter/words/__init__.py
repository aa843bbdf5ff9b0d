"""Findings and answers as sentences. In: a `Report` or a part of it. Out: text. Called by `page` and `plots`."""
