"""Files and folders to shots and sessions."""
