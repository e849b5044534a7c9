"""The figures of a trial, one file each; `kinds` lists them."""
