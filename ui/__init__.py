"""Commands, live screens and reports."""
