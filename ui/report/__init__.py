"""Reports as functions of data, one self-contained HTML file each."""
