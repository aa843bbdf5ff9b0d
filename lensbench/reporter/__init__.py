"""The zone map, the page and the tables of a report."""
