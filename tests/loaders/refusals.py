"""What loading gives, or the sentence that it refuses with: for properties that hold of either."""

from lensbench.errors import BenchError


def loaded_or_sentence(load, *arguments):
    """What a loader gives, or its error's text."""
    try:
        return load(*arguments)
    except BenchError as error:
        return str(error)
