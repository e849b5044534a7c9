"""A trial in other people's formats: tables, C3D, a dataset folder."""
