"""``lensbench`` and ``python -m lensbench``: the process, from its first moment to its last."""

import signal
import sys

INTERRUPTED = 130
"""What shells expect of a command that was interrupted."""


def program() -> None:
    """Run the command line; an interrupt ends it without a traceback, also while it loads or comes to its end."""
    try:
        from lensbench.cli import main

        main()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    finally:
        # The exit code is known and the files are whole. What is left is for Python to end threads and processes.
        signal.signal(signal.SIGINT, signal.SIG_IGN)


if __name__ == "__main__":
    program()
