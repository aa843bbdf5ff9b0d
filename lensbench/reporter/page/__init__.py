"""The page of a report: what stands on it, in which order."""
