"""The one kind of error that is the user's to mend, and says how."""


class BenchError(Exception):
    """Something about a file or a request that the user can put right.

    The message names the file (or option), what is wrong with it and what to do. The command line prints it
    as it stands, without a traceback; anything else that is raised is a fault of this program.
    """
