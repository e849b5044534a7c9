"""Tidy tables of measures, with a data dictionary, as CSV and Parquet; the same bytes each time."""
