"""The perpend command; a new verb is one file and one line in the table."""
