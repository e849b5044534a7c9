"""The recording file: the only place that knows HDF5."""
