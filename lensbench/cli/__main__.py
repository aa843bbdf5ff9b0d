"""``python -m lensbench.cli``."""

from lensbench.cli import main

main()
