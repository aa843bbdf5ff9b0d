"""The drawings of the reports, a file each; none knows of the page."""
