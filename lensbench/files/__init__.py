"""How files come to disk: whole or not at all, and never over what the program didn't write itself.

A single file that only this program writes goes through `written_whole`; files that may meet others of the same
name through `write_new`; a set of files that replaces the set of an earlier run through `replace_files`.
"""

from lensbench.files.new import check_new, write_new
from lensbench.files.reading import read_whole, reason_of, refuse_odd_file
from lensbench.files.replacing import WrittenFile, files_in_the_way, is_as_written, locked_folder, replace_files
from lensbench.files.whole import check_writable, made_folder, write_text_whole, written_whole

__all__ = [
    "WrittenFile",
    "check_new",
    "check_writable",
    "files_in_the_way",
    "is_as_written",
    "locked_folder",
    "made_folder",
    "read_whole",
    "reason_of",
    "refuse_odd_file",
    "replace_files",
    "write_new",
    "write_text_whole",
    "written_whole",
]
