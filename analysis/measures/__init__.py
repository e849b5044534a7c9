"""The measures; a new one is one file and one line in the table."""
