"""Byte pipes by URL; a new kind is one file and one line in the table here."""
