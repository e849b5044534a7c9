"""Many recordings: measured on all cores or a cluster, as tidy tables, and what they say."""
